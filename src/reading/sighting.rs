//! What one look at one sample in a photo gave: numbers or a refusal, and the evidence for it.

use crate::terms::space::Relative;
use crate::terms::{Analyte, Flag, Unit};

use super::Status;

/// A point in the pixels of the upright photo.
pub type Pixel = (f64, f64);

/// One analyte read in a photo, or the reason why not.
#[derive(Debug, Clone, PartialEq)]
pub struct Sighting {
    /// What was to be measured; `None` for a photo refused as a whole.
    pub analyte: Option<Analyte>,
    /// How the numbers are to be taken.
    pub status: Status,
    /// Best estimate; 0 below detection, `None` above the chart and when refused.
    pub value: Option<f64>,
    /// Lower end of the 95 % interval.
    pub low: Option<f64>,
    /// Upper end of the 95 % interval.
    pub high: Option<f64>,
    /// Unit of the three.
    pub unit: Option<Unit>,
    /// Name of the chart it was compared with.
    pub chart: Option<String>,
    /// Doubts, each once.
    pub flags: Vec<Flag>,
    /// Why it was refused, and how to mend it.
    pub reason: Option<String>,
    /// What pictures and pages draw from.
    pub evidence: Evidence,
}

/// Where things are in the photo, and what was seen there.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Evidence {
    /// The card's corners, clockwise from its top left; empty if no card was found.
    pub card: Vec<Pixel>,
    /// Its patches, each clockwise from its top left.
    pub patches: Vec<[Pixel; 4]>,
    /// The measured liquid or pad, clockwise from its top left; empty if none was found.
    pub sample: Vec<Pixel>,
    /// Its colour relative to paper, in the chart's reference view.
    pub colour: Option<Relative>,
    /// The chart's levels with their colours in a typical photo, by value.
    pub levels: Vec<(f64, Relative)>,
    /// Relative error of the colour correction.
    pub residual: Option<f64>,
    /// Distance of the colour from the chart's path, Oklab times 100, shade taken off.
    pub distance: Option<f64>,
}

impl Sighting {
    /// A refusal.
    pub fn refused(
        analyte: Option<Analyte>,
        chart: Option<String>,
        reason: String,
        evidence: Evidence,
    ) -> Self {
        Self {
            analyte,
            status: Status::Refused,
            value: None,
            low: None,
            high: None,
            unit: None,
            chart,
            flags: Vec::new(),
            reason: Some(reason),
            evidence,
        }
    }

    /// Bounding box of the measured sample, whole pixels: x, y, width, height.
    pub fn sample_box(&self) -> Option<(u32, u32, u32, u32)> {
        let points = &self.evidence.sample;
        let low = |pick: fn(&Pixel) -> f64| points.iter().map(pick).fold(f64::INFINITY, f64::min);
        let high = |pick: fn(&Pixel) -> f64| points.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
        if points.is_empty() {
            return None;
        }
        let (x0, y0) = (low(|p| p.0).max(0.0).round(), low(|p| p.1).max(0.0).round());
        let (x1, y1) = (high(|p| p.0).max(0.0).round(), high(|p| p.1).max(0.0).round());
        Some((x0 as u32, y0 as u32, (x1 - x0) as u32, (y1 - y0) as u32))
    }
}
