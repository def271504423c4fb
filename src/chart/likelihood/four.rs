//! Four samples of a path, and the unknowns at them, side by side.

use wide::f64x4;

use super::{LANES, Look};
use crate::chart::path::Node;

/// Four samples of a path.
pub struct Four {
    pub absorbance: [f64x4; 3],
    pub by_lamp: [f64x4; 3],
    /// Absorbance of the lightest channel, and what the strongest absorbs beyond it.
    pub lightest: f64x4,
    pub spread: f64x4,
    /// Variance of the absorbance.
    pub doubt: [f64x4; 3],
}

impl Four {
    pub fn of(nodes: [&Node; LANES]) -> Self {
        let lanes = |value: &dyn Fn(&Node) -> f64| f64x4::new(nodes.map(value));
        let absorbance = std::array::from_fn(|channel| lanes(&|node| node.absorbance[channel]));
        let [r, g, b]: [f64x4; 3] = absorbance;
        let lightest = r.fast_min(g).fast_min(b);
        Self {
            absorbance,
            by_lamp: std::array::from_fn(|channel| lanes(&|node| node.by_lamp[channel])),
            lightest,
            spread: r.fast_max(g).fast_max(b) - lightest,
            doubt: std::array::from_fn(|channel| lanes(&|node| node.doubt[channel])),
        }
    }
}

/// The unknowns at four samples.
pub type State = [f64x4; 5];

/// Those of four looks, side by side.
pub fn beside(looks: [&Look; LANES]) -> State {
    std::array::from_fn(|k| f64x4::new(looks.map(|look| look.state[k])))
}

/// Those of three looks, mixed in four ways.
pub fn blended(looks: [&Look; 3], weights: &[f64x4; 3]) -> State {
    let [a, b, c] = looks;
    std::array::from_fn(|k| weights[0] * a.state[k] + weights[1] * b.state[k] + weights[2] * c.state[k])
}
