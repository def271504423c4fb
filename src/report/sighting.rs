//! A sighting for people: the number, its interval, how sure and why.

use std::fmt::Write as _;

use super::measured::bound;
use crate::math::digits::with_interval;
use crate::reading::{Sighting, Status};
use crate::terms::analyte::Analyte;
use crate::terms::text::printable;

/// Relative width of an interval that counts as close, and as fair.
const CLOSE: f64 = 0.25;
const FAIR: f64 = 0.7;

/// The answer for one analyte of one photo.
pub fn text(photo: &str, sighting: &Sighting) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", printable(photo));
    let _ = writeln!(out, "  {}", headline(sighting));
    if sighting.status != Status::Refused {
        let _ = writeln!(out, "  {}", sureness(sighting));
    }
    for flag in &sighting.flags {
        let _ = writeln!(out, "  ! {}: {}", flag.cause(), flag.remedy());
    }
    out
}

/// The answer in one sentence.
pub fn headline(sighting: &Sighting) -> String {
    let analyte = sighting.analyte.map_or("photo", |analyte| analyte.word());
    let unit = sighting.unit.map(|unit| format!(" {unit}")).unwrap_or_default();
    match sighting.status {
        Status::Read => {
            let [value, low, high] =
                [sighting.value, sighting.low, sighting.high].map(Option::unwrap_or_default);
            let [value, low, high] = with_interval(value, low, high);
            format!("{analyte} {value}{unit}, 95 % between {low} and {high}")
        }
        Status::BelowDetection => {
            format!("{analyte} not detected: below {}{unit}", bound(sighting.high))
        }
        Status::AboveRange => {
            // Diluting changes a concentration in proportion, a pH hardly.
            let mend = match sighting.analyte {
                Some(Analyte::Ph) => "use a test for higher values",
                _ => "dilute the sample with distilled water and test again",
            };
            format!("{analyte} above the chart: more than {}{unit}; {mend}", bound(sighting.low))
        }
        Status::Refused => {
            format!("{analyte} refused: {}", printable(sighting.reason.as_deref().unwrap_or_default()))
        }
    }
}

/// How sure, in words, and what it rests on.
pub fn sureness(sighting: &Sighting) -> String {
    let word = match (sighting.value, sighting.low, sighting.high) {
        (Some(value), Some(low), Some(high)) if value > 0.0 && sighting.status == Status::Read => {
            match (high - low) / value {
                width if width <= CLOSE => "close",
                width if width <= FAIR => "fair",
                _ => "rough",
            }
        }
        _ => "a bound",
    };
    let chart = sighting.chart.as_deref().map(printable).unwrap_or_default();
    let fit = sighting
        .evidence
        .residual
        .map(|residual| format!(", the card's colours agree within {:.0} %", (100.0 * residual).max(1.0)))
        .unwrap_or_default();
    format!("{word}; by chart {chart}{fit}")
}
