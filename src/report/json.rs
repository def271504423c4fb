//! The lines of JSON that other programs read: one object for each analyte of each photo.

use serde::Serialize;

use crate::reading::{Sighting, Status};
use crate::terms::{Analyte, Flag, Unit};

/// One line of `read --json`. The order of the fields is part of the contract.
#[derive(Debug, Serialize)]
pub struct SightingLine<'a> {
    photo: &'a str,
    status: Status,
    analyte: Option<Analyte>,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    unit: Option<Unit>,
    chart: Option<&'a str>,
    taken_at: Option<String>,
    tank: Option<&'a str>,
    flags: &'a [Flag],
    reason: Option<&'a str>,
    sample: Option<SampleBox>,
}

/// The measured liquid or pad in the pixels of the upright photo.
#[derive(Debug, Serialize)]
struct SampleBox {
    x: u32,
    y: u32,
    width: u32,
    height: u32,
}

impl<'a> SightingLine<'a> {
    /// The line of a sighting.
    pub fn new(
        photo: &'a str,
        sighting: &'a Sighting,
        taken_at: Option<String>,
        tank: Option<&'a str>,
    ) -> Self {
        Self {
            photo,
            status: sighting.status,
            analyte: sighting.analyte,
            value: sighting.value.map(rounded),
            low: sighting.low.map(rounded),
            high: sighting.high.map(rounded),
            unit: sighting.unit,
            chart: sighting.chart.as_deref(),
            taken_at,
            tank,
            flags: &sighting.flags,
            reason: sighting.reason.as_deref(),
            sample: sighting.sample_box().map(|(x, y, width, height)| SampleBox { x, y, width, height }),
        }
    }
}

/// Four significant digits: more than any colour test deserves, few enough to be read.
pub fn rounded(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let digits = 3 - value.abs().log10().floor() as i32;
    let factor = 10_f64.powi(digits);
    let rounded = (value * factor).round() / factor;
    if rounded.is_finite() { rounded } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_four_significant_digits() {
        assert_eq!(rounded(1.234_567), 1.235);
        assert_eq!(rounded(0.000_123_456), 0.000_123_5);
        assert_eq!(rounded(159.97), 160.0);
        assert_eq!(rounded(0.0), 0.0);
    }
}
