//! A line of readings small enough for a line of text, with words that say the same.

use super::measured::bound;
use crate::reading::{Measurement, Status};
use crate::terms::Analyte;

/// Most readings that are drawn, the latest.
const DRAWN: usize = 40;
/// Heights in block letters, and for terminals that have none.
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
const PLAIN: [char; 8] = ['_', '.', ',', '-', '~', '=', '*', '#'];

/// The course of one analyte in a line: drawn heights from zero (pH: from the lowest), then words.
/// `None` without at least two readings; `measurements` are by time.
pub fn line(analyte: Analyte, measurements: &[Measurement], has_blocks: bool) -> Option<String> {
    let own: Vec<&Measurement> =
        measurements.iter().filter(|m| m.analyte == analyte && m.status != Status::Refused).collect();
    let latest = &own[own.len().saturating_sub(DRAWN)..];
    let [first, .., last] = latest else { return None };
    let heights: Vec<f64> = latest.iter().map(|m| height(m)).collect();
    let highest = latest.iter().max_by(|a, b| height(a).total_cmp(&height(b)))?;
    let unit = if analyte == Analyte::Ph { String::new() } else { format!(" {}", analyte.default_unit()) };
    Some(format!(
        "{analyte:<10} {}  from {} on {}, at most {}, to {}{unit} on {}",
        drawn(&heights, analyte.is_concentration(), has_blocks),
        words(first),
        first.taken_at.format("%-d %b"),
        words(highest),
        words(last),
        last.taken_at.format("%-d %b"),
    ))
}

/// A letter for each height.
fn drawn(heights: &[f64], from_zero: bool, has_blocks: bool) -> String {
    let letters = if has_blocks { BLOCKS } else { PLAIN };
    let top = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let bottom = if from_zero { 0.0 } else { heights.iter().copied().fold(f64::INFINITY, f64::min) };
    let share = |height: f64| if top > bottom { (height - bottom) / (top - bottom) } else { 0.0 };
    heights.iter().map(|&height| letters[(share(height) * 7.0).round().clamp(0.0, 7.0) as usize]).collect()
}

/// A reading's value; the bound where only one is known, and zero where nothing was detected.
fn height(measurement: &Measurement) -> f64 {
    match measurement.status {
        Status::AboveRange => measurement.low,
        _ => measurement.value,
    }
    .unwrap_or(0.0)
}

fn words(measurement: &Measurement) -> String {
    match measurement.status {
        Status::AboveRange => format!("above {}", bound(measurement.low)),
        Status::BelowDetection => format!("below {}", bound(measurement.high)),
        _ => bound(measurement.value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, TimeDelta};

    /// Invented readings, one a day.
    fn readings(analyte: Analyte, values: &[f64]) -> Vec<Measurement> {
        let start = DateTime::parse_from_rfc3339("2031-03-01T08:00:00+00:00").unwrap();
        let reading = |(day, &value): (usize, &f64)| Measurement {
            analyte,
            status: if value > 4.0 && analyte.is_concentration() { Status::AboveRange } else { Status::Read },
            value: Some(value),
            low: Some(value),
            high: Some(value),
            taken_at: start + TimeDelta::days(day as i64),
            flags: Vec::new(),
        };
        values.iter().enumerate().map(reading).collect()
    }

    #[test]
    fn the_line_and_its_words_say_the_same() {
        let course = readings(Analyte::Nitrite, &[0.0, 1.0, 2.0, 5.0, 0.5]);
        assert_eq!(
            line(Analyte::Nitrite, &course, true).unwrap(),
            "nitrite    ▁▂▄█▂  from 0 on 1 Mar, at most above 5, to 0.5 mg/L NO2 on 5 Mar"
        );
        assert_eq!(line(Analyte::Nitrite, &course, false).unwrap()[11..16], *"_.-#.");
    }

    #[test]
    fn a_ph_is_drawn_from_its_lowest_and_one_reading_is_no_course() {
        let course = readings(Analyte::Ph, &[7.6, 7.2]);
        assert!(line(Analyte::Ph, &course, true).unwrap().contains("█▁"));
        assert_eq!(line(Analyte::Ph, &course[..1], true), None);
        assert_eq!(line(Analyte::Ammonia, &course, true), None);
    }

    #[test]
    fn long_courses_show_their_latest_readings() {
        let course = readings(Analyte::Nitrate, &[1.0; 365]);
        let line = line(Analyte::Nitrate, &course, true).unwrap();
        assert_eq!(line.matches('█').count(), DRAWN);
    }
}
