//! Readings and events as tables (CSV after RFC 4180) that spreadsheets and `import` take.

use std::borrow::Cow;
use std::io::Write;

use super::{Event, Reading};
use crate::reading::Status;

/// Header of a table of readings.
pub const READINGS: [&str; 8] = ["taken_at", "tank", "analyte", "value", "unit", "low", "high", "note"];
/// Header of a table of events.
pub const EVENTS: [&str; 6] = ["at", "tank", "event", "amount", "unit", "note"];

/// Writes readings under the header [`READINGS`].
///
/// Above the range, `value` is the lower bound and `high` is empty; below detection `low` is empty.
///
/// # Errors
/// If `out` fails.
pub fn write_readings<'a>(
    readings: impl IntoIterator<Item = &'a Reading>,
    out: impl Write,
) -> Result<(), csv::Error> {
    let mut table = csv::Writer::from_writer(out);
    table.write_record(READINGS)?;
    for reading in readings {
        let measurement = &reading.measurement;
        let value = match measurement.status {
            Status::AboveRange => measurement.low,
            _ => measurement.value,
        };
        table.write_record([
            measurement.taken_at.to_rfc3339().as_str(),
            &guarded(&reading.tank),
            measurement.analyte.word(),
            &cell(value),
            measurement.analyte.default_unit().label(),
            &cell(measurement.low.filter(|_| measurement.status != Status::BelowDetection)),
            &cell(measurement.high.filter(|_| measurement.status != Status::AboveRange)),
            &guarded(&reading.note),
        ])?;
    }
    Ok(table.flush()?)
}

/// Writes events under the header [`EVENTS`].
///
/// # Errors
/// If `out` fails.
pub fn write_events<'a>(
    events: impl IntoIterator<Item = &'a Event>,
    out: impl Write,
) -> Result<(), csv::Error> {
    let mut table = csv::Writer::from_writer(out);
    table.write_record(EVENTS)?;
    for event in events {
        table.write_record([
            event.at.to_rfc3339().as_str(),
            &guarded(&event.tank),
            event.kind.word(),
            &cell(event.amount),
            event.kind.unit(),
            &guarded(&event.note),
        ])?;
    }
    Ok(table.flush()?)
}

fn cell(value: Option<f64>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

/// Characters by which a spreadsheet takes a cell for a formula (OWASP, "CSV Injection").
const FORMULA: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Text that no spreadsheet takes for a formula: an apostrophe goes before what looks like one.
fn guarded(text: &str) -> Cow<'_, str> {
    if is_formula(text.trim_start_matches('\'')) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// Takes the apostrophe away again.
pub(super) fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if is_formula(rest.trim_start_matches('\'')) => rest,
        _ => text,
    }
}

fn is_formula(text: &str) -> bool {
    text.starts_with(FORMULA) || text.trim_start().starts_with(FORMULA)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_looks_like_a_formula_gets_an_apostrophe() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", "'=1"] {
            assert!(guarded(text).starts_with('\''), "{text:?}");
        }
        assert_eq!(guarded("Lily's = pond"), "Lily's = pond");
    }

    proptest::proptest! {
        #[test]
        fn the_guard_comes_off_again(text in "['=+@\\-\\t a-z]{0,8}") {
            let cell = guarded(&text).into_owned();
            proptest::prop_assert_eq!(unguarded(&cell), &text);
        }
    }
}
