//! Mixed light: lamps of different colour on the card's two sides.
//!
//! The card's paper then changes colour from left to right, and the light that passes a vial need not
//! be that of the paper beside it. By how much the two may differ follows from the paper's own change.

use super::illumination::Illumination;
use crate::terms::space::Light;

/// Changes of the paper's colour below this are noise, natural logarithm.
const LEAST_CHANGE: f64 = 0.02;
/// Share of the change over the card by which a sample's light may differ, one standard deviation:
/// it stands in the middle, half way between both sides.
const HALF_WAY: f64 = 0.5;
/// Change from which the photo is flagged.
const FLAGGED_CHANGE: f64 = 0.12;

/// What the paper says of mixed light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MixedLight {
    /// Natural logarithm, for each channel, of what the sample's light may differ from the paper's.
    pub gain: [f64; 3],
    /// Whether it is worth a flag.
    pub is_flagged: bool,
}

impl MixedLight {
    /// From the light over the card and, where it is known, the paper to the left and to the right of
    /// the sample.
    pub fn new(light: &Illumination, beside: Option<(Light, Light)>) -> Self {
        let far = chroma(light.change_across());
        let size = dot(far, far).sqrt();
        if size < LEAST_CHANGE {
            return Self { gain: [0.0; 3], is_flagged: false };
        }
        let direction = far.map(|value| value / size);
        let near = beside.map_or(0.0, |(left, right)| {
            let change = std::array::from_fn(|channel| (right[channel] / left[channel]).ln());
            dot(chroma(change), direction).abs()
        });
        let change = size.max(near);
        Self { gain: direction.map(|value| HALF_WAY * change * value), is_flagged: change > FLAGGED_CHANGE }
    }
}

/// The part of a logarithm that is colour, not brightness.
fn chroma(log: [f64; 3]) -> [f64; 3] {
    let mean = log.iter().sum::<f64>() / 3.0;
    log.map(|value| value - mean)
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
