//! Four samples of a path, and the unknowns at them, side by side.

use fearless_simd::prelude::*;
use fearless_simd::{Simd, f64x4};
use nalgebra::Vector3;

use super::row::Row;
use super::{LANES, State};
use crate::chart::path::Node;

/// The three channels at four samples.
pub type Channels<S> = Row<S, 3>;

/// The unknowns at four samples.
pub type Unknowns<S> = Row<S, 5>;

/// Four samples of a path.
pub struct Four<S: Simd> {
    pub absorbance: Channels<S>,
    pub by_lamp: Channels<S>,
    /// Absorbance of the lightest channel, and what the strongest absorbs beyond it.
    pub lightest: f64x4<S>,
    pub spread: f64x4<S>,
    /// Variance of the absorbance.
    pub doubt: Channels<S>,
}

impl<S: Simd> Four<S> {
    #[inline(always)]
    pub fn of(simd: S, [a, b, c, d]: [&Node; LANES]) -> Self {
        let absorbance = channels(simd, [&a.absorbance, &b.absorbance, &c.absorbance, &d.absorbance]);
        let Row([red, green, blue]) = absorbance;
        let lightest = red.min(green).min(blue);
        Self {
            absorbance,
            by_lamp: channels(simd, [&a.by_lamp, &b.by_lamp, &c.by_lamp, &d.by_lamp]),
            lightest,
            spread: red.max(green).max(blue) - lightest,
            doubt: channels(simd, [&a.doubt, &b.doubt, &c.doubt, &d.doubt]),
        }
    }
}

#[inline(always)]
fn channels<S: Simd>(simd: S, [a, b, c, d]: [&Vector3<f64>; LANES]) -> Channels<S> {
    Row([
        [a.x, b.x, c.x, d.x].simd_into(simd),
        [a.y, b.y, c.y, d.y].simd_into(simd),
        [a.z, b.z, c.z, d.z].simd_into(simd),
    ])
}

/// The unknowns at four samples, side by side.
pub fn beside(states: [&[f64; 5]; LANES]) -> State {
    std::array::from_fn(|k| states.map(|state| state[k]))
}
