//! What must hold for an entry to be written at all.
//!
//! Implausible is not impossible: warnings about odd values are the command line's.

use super::LogError;
use super::record::{Change, Check, Entry, Event, Reading, Source};
use crate::reading::Status;
use crate::terms::TankFacts;
use crate::terms::text::is_invisible;

/// The longest name of a tank or chart, in characters.
pub const NAME_MAX: usize = 100;
/// The longest note, reason or path, in characters.
pub const TEXT_MAX: usize = 4_000;

/// Refuses what would not survive the file or would harm its readers.
pub(super) fn entry(entry: &Entry) -> Result<(), LogError> {
    let verdict = match entry {
        Entry::Reading(reading) => self::reading(reading),
        Entry::Event(event) => self::event(event),
        Entry::Tank(facts) => self::facts(facts),
        Entry::Check(check) => self::check(check),
        Entry::Correction(correction) => change(&correction.set).and_then(|()| text(&correction.reason)),
        Entry::Withdrawal(verdict) | Entry::Restoration(verdict) => text(&verdict.reason),
    };
    verdict.map_err(|why| LogError::Invalid { kind: entry.kind(), why })
}

/// A tank's or chart's name as it may stand in the log.
///
/// # Errors
/// Says what is wrong with it.
pub fn name(name: &str) -> Result<(), String> {
    if name.trim().is_empty() {
        return Err("a name is needed, and this one is empty".to_owned());
    }
    if name.trim() != name {
        return Err(format!("the name {name:?} begins or ends with a space: leave it out"));
    }
    if name.chars().count() > NAME_MAX {
        return Err(format!("a name may have up to {NAME_MAX} characters"));
    }
    match name.chars().find(|&c| c.is_control() || is_invisible(c)) {
        Some(c) => Err(format!("the name {name:?} holds the control character {c:?}: leave it out")),
        None => Ok(()),
    }
}

fn text(text: &str) -> Result<(), String> {
    if text.chars().count() > TEXT_MAX {
        return Err(format!("a note may have up to {TEXT_MAX} characters: shorten it"));
    }
    Ok(())
}

fn number(what: &str, value: Option<f64>) -> Result<(), String> {
    match value {
        Some(value) if !value.is_finite() => {
            Err(format!("the {what} is {value}, which is not a number to keep"))
        }
        _ => Ok(()),
    }
}

fn reading(reading: &Reading) -> Result<(), String> {
    let measurement = &reading.measurement;
    name(&reading.tank)?;
    text(&reading.note)?;
    number("value", measurement.value)?;
    number("lower bound", measurement.low)?;
    number("upper bound", measurement.high)?;
    match (&measurement.status, measurement.value, measurement.low, measurement.high) {
        (Status::Refused, ..) => return Err("a refused reading has no value to keep".to_owned()),
        (Status::Read, None, ..) => return Err("a reading needs a value".to_owned()),
        (Status::AboveRange, _, None, _) => {
            return Err("a reading above its range needs a lower bound".to_owned());
        }
        (Status::BelowDetection, _, _, None) => {
            return Err("a reading below detection needs an upper bound".to_owned());
        }
        (_, _, Some(low), Some(high)) if low > high => {
            return Err(format!("the lower bound {low} lies above the upper bound {high}"));
        }
        _ => {}
    }
    match &reading.source {
        Source::Photo(source) => text(&source.photo),
        Source::Csv { file, .. } => text(file),
        Source::Hand { typed } => text(typed.as_deref().unwrap_or_default()),
    }
}

fn event(event: &Event) -> Result<(), String> {
    name(&event.tank)?;
    text(&event.note)?;
    number("amount", event.amount)
}

fn check(check: &Check) -> Result<(), String> {
    name(&check.chart)?;
    number("known value", Some(check.known))?;
    [check.value, check.low, check.high].into_iter().try_for_each(|value| number("value", value))
}

fn facts(facts: &TankFacts) -> Result<(), String> {
    name(&facts.tank)?;
    let told = [
        ("volume", facts.volume_l),
        ("temperature", facts.temperature_c),
        ("tap water's nitrate", facts.tap.nitrate_mg_l),
        ("tap water's ammonia", facts.tap.ammonia_mg_l),
        ("tap water's pH", facts.tap.ph),
        ("tap water's alkalinity", facts.tap.alkalinity_meq_l),
        ("last level of the ammonia chart", facts.chart_top.ammonia),
        ("last level of the nitrite chart", facts.chart_top.nitrite),
        ("last level of the nitrate chart", facts.chart_top.nitrate),
        ("last level of the pH chart", facts.chart_top.ph),
    ];
    told.into_iter().try_for_each(|(what, value)| number(what, value))
}

fn change(change: &Change) -> Result<(), String> {
    change.tank.as_deref().map_or(Ok(()), name)?;
    text(change.note.as_deref().unwrap_or_default())?;
    number("value", change.reading.map(|reading| reading.value))?;
    number("amount", change.event.and_then(|event| event.amount))
}
