//! The lines of JSON that other programs read: one object for each analyte of each photo.

use serde::Serialize;

use crate::math::digits::rounded;
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
