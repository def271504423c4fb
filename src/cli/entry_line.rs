//! A reading or event of the log as one JSON object for other programs.

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use crate::log::{Entry, Event, Id, PhotoSource, Reading, SampleBox, Source};
use crate::reading::Status;
use crate::terms::{Analyte, EventKind, Flag};

/// What `log --json` prints, one a line.
#[derive(Debug, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum EntryLine<'a> {
    /// A reading as it stands after corrections.
    Reading(ReadingLine<'a>),
    /// An event as it stands after corrections.
    Event(EventLine<'a>),
}

/// A reading.
#[derive(Debug, Serialize)]
pub struct ReadingLine<'a> {
    id: Id,
    tank: &'a str,
    taken_at: DateTime<FixedOffset>,
    analyte: Analyte,
    status: Status,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    unit: &'static str,
    flags: &'a [Flag],
    source: &'static str,
    #[serde(flatten)]
    photo: Option<PhotoLine<'a>>,
    note: &'a str,
    logged_at: DateTime<FixedOffset>,
    corrected: bool,
}

/// The photo of a reading.
#[derive(Debug, Serialize)]
struct PhotoLine<'a> {
    photo: &'a str,
    hash: &'a str,
    chart: Option<&'a str>,
    sample: Option<SampleBox>,
}

/// An event.
#[derive(Debug, Serialize)]
pub struct EventLine<'a> {
    id: Id,
    tank: &'a str,
    at: DateTime<FixedOffset>,
    event: EventKind,
    amount: Option<f64>,
    unit: &'static str,
    note: &'a str,
    logged_at: DateTime<FixedOffset>,
    corrected: bool,
}

impl<'a> EntryLine<'a> {
    /// The line of an entry; `None` if it is neither a reading nor an event.
    pub fn of(id: Id, logged_at: DateTime<FixedOffset>, entry: &'a Entry, corrected: bool) -> Option<Self> {
        match entry {
            Entry::Reading(reading) => Some(Self::Reading(reading_line(id, logged_at, reading, corrected))),
            Entry::Event(Event { tank, kind, amount, at, note }) => Some(Self::Event(EventLine {
                id,
                tank,
                at: *at,
                event: *kind,
                amount: *amount,
                unit: kind.unit(),
                note,
                logged_at,
                corrected,
            })),
            _ => None,
        }
    }
}

fn reading_line(
    id: Id,
    logged_at: DateTime<FixedOffset>,
    reading: &Reading,
    corrected: bool,
) -> ReadingLine<'_> {
    let measurement = &reading.measurement;
    let photo = match &reading.source {
        Source::Photo(PhotoSource { photo, hash, chart, sample, .. }) => {
            Some(PhotoLine { photo, hash, chart: chart.as_deref(), sample: *sample })
        }
        Source::Hand { .. } | Source::Csv { .. } => None,
    };
    ReadingLine {
        id,
        tank: &reading.tank,
        taken_at: measurement.taken_at,
        analyte: measurement.analyte,
        status: measurement.status,
        value: measurement.value,
        low: measurement.low,
        high: measurement.high,
        unit: measurement.analyte.default_unit().label(),
        flags: &measurement.flags,
        source: reading.source.word(),
        photo,
        note: &reading.note,
        logged_at,
        corrected,
    }
}
