//! A record as one line of JSON, and back.
//!
//! Every line carries `v`, the version of the format. Version 1 is described field by field in
//! `src/log/FORMAT.md`. A field that is not known is left alone; a version that is not known is not
//! guessed at.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::fields::{Moment, Words};
use super::record::{Change, Check, Correction, Entry, Event, Id, PhotoSource, Reading, Record, SampleBox};
use super::record::{Source, Verdict};
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind, Flag, TankFacts, Unit};

/// The version that is written.
pub const VERSION: u32 = 1;

/// Why a line is not a record.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// Not the JSON of a record.
    #[error("not a record: {0}")]
    Json(String),
    /// Made by a later program.
    #[error("written in version {0} of the format, and this program knows up to {VERSION}: use a newer one")]
    Newer(u32),
    /// A field that its kind needs is missing.
    #[error("a {kind} without {field:?}")]
    Missing {
        /// The record's kind.
        kind: &'static str,
        /// The field.
        field: &'static str,
    },
    /// A number or unit that makes no sense.
    #[error("{0}")]
    Senseless(String),
}

/// Just enough of a line to know how to read the rest.
#[derive(Deserialize)]
struct Version {
    v: u32,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Reading,
    Event,
    Tank,
    Check,
    Correction,
    Withdrawal,
    Restoration,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SourceKind {
    Photo,
    Hand,
    Csv,
}

/// All fields of all kinds, flat: what tables and queries outside like best.
#[derive(Serialize, Deserialize)]
struct Line<'a> {
    v: u32,
    kind: Kind,
    id: Id,
    logged_at: Moment,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    tank: Option<Words<'a>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    taken_at: Option<Moment>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at: Option<Moment>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    analyte: Option<Analyte>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    event: Option<EventKind>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    status: Option<Status>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    known: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    low: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    high: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    amount: Option<f64>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    unit: Option<Words<'a>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    flags: Vec<Flag>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    source: Option<SourceKind>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    photo: Option<Words<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    hash: Option<Words<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    chart: Option<Words<'a>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sample: Option<SampleBox>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    parts: Option<u32>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    typed: Option<Words<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    file: Option<Words<'a>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    line: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    facts: Option<serde_json::Value>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    of: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    set: Option<Change>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    reason: Option<Words<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    note: Option<Words<'a>>,
}

/// One line of JSON without its line end.
pub fn to_line(record: &Record) -> String {
    let line = Line::of(record);
    serde_json::to_string(&line).expect("words and finite numbers always make JSON")
}

/// Reads one line, without its line end.
///
/// # Errors
/// If the line is not the JSON of a record of a known version.
pub fn from_line(text: &[u8]) -> Result<Record, LineError> {
    line_of(text)?.into_record()
}

/// What a line says that matters to one tank, and its number.
///
/// Entries of other tanks and checks of kits are `None`, and of readings the source and the note are left
/// out: a verdict on the tank asks for neither.
///
/// # Errors
/// As [`from_line`], of the lines that are `None` too.
pub(super) fn about(tank: &str, text: &[u8]) -> Result<(Id, Option<Record>), LineError> {
    let mut line = line_of(text)?;
    let id = line.id;
    if matches!(line.kind, Kind::Reading) {
        line.source = None;
        line.typed = None;
        line.note = None;
    }
    let record = line.into_record()?;
    let matters = match &record.entry {
        Entry::Check(_) => false,
        other => other.tank().is_none_or(|of| of == tank),
    };
    Ok((id, matters.then_some(record)))
}

fn line_of(text: &[u8]) -> Result<Line<'_>, LineError> {
    match serde_json::from_slice::<Line>(text) {
        Ok(line) if line.v <= VERSION => Ok(line),
        Ok(line) => Err(LineError::Newer(line.v)),
        Err(error) => match serde_json::from_slice::<Version>(text) {
            Ok(Version { v }) if v > VERSION => Err(LineError::Newer(v)),
            _ => Err(LineError::Json(error.to_string())),
        },
    }
}

fn words(text: &str) -> Option<Words<'_>> {
    (!text.is_empty()).then_some(Words(Cow::Borrowed(text)))
}

/// A name that names something: an empty one is none, and would be left out when written.
fn named(text: Option<Words<'_>>) -> Option<String> {
    text.map(|words| words.0.into_owned()).filter(|name| !name.is_empty())
}

fn owned(text: Option<Words<'_>>) -> String {
    text.map(|words| words.0.into_owned()).unwrap_or_default()
}

impl<'a> Line<'a> {
    fn blank(record: &Record, kind: Kind) -> Self {
        Self {
            v: VERSION,
            kind,
            id: record.id,
            logged_at: Moment(record.logged_at),
            tank: None,
            taken_at: None,
            at: None,
            analyte: None,
            event: None,
            status: None,
            known: None,
            value: None,
            low: None,
            high: None,
            amount: None,
            unit: None,
            flags: Vec::new(),
            source: None,
            photo: None,
            hash: None,
            chart: None,
            sample: None,
            parts: None,
            typed: None,
            file: None,
            line: None,
            facts: None,
            of: None,
            set: None,
            reason: None,
            note: None,
        }
    }

    fn of(record: &'a Record) -> Self {
        let blank = |kind| Self::blank(record, kind);
        match &record.entry {
            Entry::Reading(reading) => blank(Kind::Reading).with_reading(reading),
            Entry::Event(event) => Self {
                tank: words(&event.tank),
                at: Some(Moment(event.at)),
                event: Some(event.kind),
                amount: event.amount,
                unit: words(event.kind.unit()),
                note: words(&event.note),
                ..blank(Kind::Event)
            },
            Entry::Tank(facts) => {
                Self { tank: words(&facts.tank), facts: Some(told(facts)), ..blank(Kind::Tank) }
            }
            Entry::Check(check) => Self {
                chart: words(&check.chart),
                analyte: Some(check.analyte),
                known: Some(check.known),
                value: check.value,
                low: check.low,
                high: check.high,
                unit: words(check.analyte.default_unit().label()),
                at: Some(Moment(check.at)),
                ..blank(Kind::Check)
            },
            Entry::Correction(correction) => Self {
                of: Some(correction.of),
                set: Some(correction.set.clone()),
                reason: words(&correction.reason),
                ..blank(Kind::Correction)
            },
            Entry::Withdrawal(verdict) => {
                Self { of: Some(verdict.of), reason: words(&verdict.reason), ..blank(Kind::Withdrawal) }
            }
            Entry::Restoration(verdict) => {
                Self { of: Some(verdict.of), reason: words(&verdict.reason), ..blank(Kind::Restoration) }
            }
        }
    }

    fn with_reading(mut self, reading: &'a Reading) -> Self {
        let measurement = &reading.measurement;
        self.tank = words(&reading.tank);
        self.taken_at = Some(Moment(measurement.taken_at));
        self.analyte = Some(measurement.analyte);
        self.status = Some(measurement.status);
        (self.value, self.low, self.high) = (measurement.value, measurement.low, measurement.high);
        self.unit = words(measurement.analyte.default_unit().label());
        self.flags.clone_from(&measurement.flags);
        self.note = words(&reading.note);
        match &reading.source {
            Source::Photo(source) => {
                self.source = Some(SourceKind::Photo);
                self.photo = words(&source.photo);
                self.hash = words(&source.hash);
                self.chart = source.chart.as_deref().and_then(words);
                self.sample = source.sample;
                self.parts = source.parts;
            }
            Source::Hand { typed } => {
                self.source = Some(SourceKind::Hand);
                self.typed = typed.as_deref().and_then(words);
            }
            Source::Csv { file, line } => {
                self.source = Some(SourceKind::Csv);
                self.file = words(file);
                self.line = Some(*line);
            }
        }
        self
    }

    fn into_record(mut self) -> Result<Record, LineError> {
        let (id, Moment(logged_at)) = (self.id, self.logged_at);
        let entry = match self.kind {
            Kind::Reading => Entry::Reading(self.into_reading()?),
            Kind::Event => Entry::Event(Event {
                kind: self.event.ok_or(missing("event", "event"))?,
                amount: self.amount,
                at: self.at.ok_or(missing("event", "at"))?.0,
                tank: named(self.tank).ok_or(missing("event", "tank"))?,
                note: owned(self.note),
            }),
            Kind::Tank => Entry::Tank(self.into_facts()?),
            Kind::Check => Entry::Check(Check {
                analyte: self.analyte.ok_or(missing("check", "analyte"))?,
                known: self.known.ok_or(missing("check", "known"))?,
                value: self.value,
                low: self.low,
                high: self.high,
                at: self.at.ok_or(missing("check", "at"))?.0,
                chart: named(self.chart).ok_or(missing("check", "chart"))?,
            }),
            Kind::Correction => Entry::Correction(Correction {
                of: self.of.ok_or(missing("correction", "of"))?,
                set: self.set.take().ok_or(missing("correction", "set"))?,
                reason: owned(self.reason),
            }),
            Kind::Withdrawal => Entry::Withdrawal(self.into_verdict("withdrawal")?),
            Kind::Restoration => Entry::Restoration(self.into_verdict("restoration")?),
        };
        Ok(Record { id, logged_at, entry })
    }

    fn into_verdict(self, kind: &'static str) -> Result<Verdict, LineError> {
        Ok(Verdict { of: self.of.ok_or(missing(kind, "of"))?, reason: owned(self.reason) })
    }

    fn into_facts(self) -> Result<TankFacts, LineError> {
        let facts = self.facts.unwrap_or_else(|| serde_json::json!({}));
        let mut facts: TankFacts =
            serde_json::from_value(facts).map_err(|error| LineError::Json(error.to_string()))?;
        facts.tank = named(self.tank).ok_or(missing("tank", "tank"))?;
        Ok(facts)
    }

    fn into_reading(self) -> Result<Reading, LineError> {
        let analyte = self.analyte.ok_or(missing("reading", "analyte"))?;
        let convert = scale(self.unit.as_ref().map(|unit| &*unit.0), analyte)?;
        let measurement = Measurement {
            analyte,
            status: self.status.unwrap_or(Status::Read),
            value: self.value.map(convert),
            low: self.low.map(convert),
            high: self.high.map(convert),
            taken_at: self.taken_at.ok_or(missing("reading", "taken_at"))?.0,
            flags: self.flags,
        };
        let numbers = [measurement.value, measurement.low, measurement.high];
        if numbers.into_iter().flatten().any(|number| !number.is_finite()) {
            return Err(LineError::Senseless(format!("{analyte} beyond all numbers")));
        }
        let source = match self.source.unwrap_or(SourceKind::Hand) {
            SourceKind::Photo => Source::Photo(PhotoSource {
                photo: owned(self.photo),
                hash: owned(self.hash),
                chart: self.chart.map(|chart| chart.0.into_owned()),
                sample: self.sample,
                parts: self.parts,
            }),
            SourceKind::Hand => Source::Hand { typed: self.typed.map(|typed| typed.0.into_owned()) },
            SourceKind::Csv => Source::Csv { file: owned(self.file), line: self.line.unwrap_or(0) },
        };
        let tank = named(self.tank).ok_or(missing("reading", "tank"))?;
        Ok(Reading { tank, measurement, source, note: owned(self.note) })
    }
}

const fn missing(kind: &'static str, field: &'static str) -> LineError {
    LineError::Missing { kind, field }
}

/// What turns the line's numbers into the analyte's default unit.
fn scale(label: Option<&str>, analyte: Analyte) -> Result<impl Fn(f64) -> f64 + Copy, LineError> {
    let to = analyte.default_unit();
    let from = match label {
        None => to,
        Some(label) if label == to.label() => to,
        Some(label) => label.parse::<Unit>().map_err(|error| LineError::Senseless(error.to_string()))?,
    };
    if !from.measures(analyte) {
        return Err(LineError::Senseless(format!("{analyte} is not measured in {from}")));
    }
    Ok(move |value| from.convert(value, to, analyte).unwrap_or(value))
}

/// The facts that were told, without the tank's name and without what is unknown.
fn told(facts: &TankFacts) -> serde_json::Value {
    let mut value = serde_json::to_value(facts).unwrap_or_default();
    if let Some(map) = value.as_object_mut() {
        map.remove("tank");
        for nested in ["tap", "chart_top"] {
            if let Some(inner) = map.get_mut(nested).and_then(serde_json::Value::as_object_mut) {
                inner.retain(|_, fact| !fact.is_null());
            }
        }
        map.retain(|_, fact| !fact.is_null() && fact.as_object().is_none_or(|inner| !inner.is_empty()));
    }
    value
}

/// The number of the record on this line, if it is a record's line in any version.
pub(super) fn number_of(text: &[u8]) -> Option<Id> {
    #[derive(Deserialize)]
    struct Numbered {
        id: Id,
    }
    serde_json::from_slice::<Numbered>(text).ok().map(|line| line.id)
}
