//! A logged reading's value in words, the same in lists and on the page.

use crate::math::digits::{significant, with_interval};
use crate::reading::{Measurement, Status};
use crate::terms::Analyte;

/// A value with its interval and unit, or the bound that is known instead.
pub fn value(measurement: &Measurement) -> String {
    // "ph 7.4" says it all.
    let unit = match measurement.analyte {
        Analyte::Ph => String::new(),
        analyte => format!(" {}", analyte.default_unit()),
    };
    match (measurement.status, measurement.value, measurement.low, measurement.high) {
        (Status::Refused, ..) => "refused".to_owned(),
        (Status::AboveRange, _, low, _) => format!("above {}{unit}", bound(low)),
        (Status::BelowDetection, _, _, high) => format!("below {}{unit}", bound(high)),
        (Status::Read, Some(value), Some(low), Some(high)) => {
            let [value, low, high] = with_interval(value, low, high);
            format!("{value}{unit} ({low} to {high})")
        }
        (Status::Read, value, ..) => format!("{}{unit}", bound(value)),
    }
}

/// A number that stands alone.
pub fn bound(value: Option<f64>) -> String {
    value.map_or_else(|| "?".to_owned(), |value| significant(value, 3).to_string())
}
