//! The path of a chart's colours over the value, densely sampled.

use nalgebra::{Matrix3, Vector3};

use super::fit::Fit;
use super::optics::Priors;
use crate::math::pchip::Pchip;

/// Nodes between two neighbouring levels.
const NODES_PER_STEP: usize = 2 * NODES_PER_PIECE;
/// Nodes over which the path is one smooth piece: half a step, so that knots lie between pieces.
pub const NODES_PER_PIECE: usize = 15;
/// The path goes on by this many of the first steps below the first level, so that a blank may read
/// below zero before it is cut off there.
const STEPS_BELOW: f64 = 0.5;
/// And by this many of the last steps above the last level, so that a liquid above the chart is seen
/// to be above it.
const STEPS_ABOVE: f64 = 1.5;

/// One sample of the path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// Value in the chart's unit.
    pub value: f64,
    /// Decadic absorbance in the reference view.
    pub absorbance: Vector3<f64>,
    /// Its change per unit of lamp score.
    pub by_lamp: Vector3<f64>,
    /// Variance of the absorbance, as far as the photo's own unknowns do not cover it.
    pub doubt: Vector3<f64>,
    /// Standard uncertainty that the standards' own values bring, in the chart's unit.
    pub value_sd: f64,
}

impl Node {
    /// The channels that absorb least and most.
    pub fn extremes(&self) -> [usize; 2] {
        let [r, g, b] = self.absorbance.into();
        let least = if r <= g && r <= b { 0 } else { 1 + usize::from(b < g) };
        let most = if r >= g && r >= b { 0 } else { 1 + usize::from(b > g) };
        [least, most]
    }
}

/// The path, evenly sampled in steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// Levels, sorted.
    pub levels: Vec<f64>,
    /// Samples, by value.
    pub nodes: Vec<Node>,
    /// What is known of the photos' unknowns.
    pub priors: Priors,
}

impl Path {
    /// Samples the path of a fit; `None` unless the response coordinate increases over the levels.
    pub fn new(levels: &[f64], fit: &Fit) -> Option<Self> {
        let n = levels.len();
        let (first, last) = (levels[0], levels[n - 1]);
        let low = first - STEPS_BELOW * (levels[1] - first);
        let high = last + STEPS_ABOVE * (last - levels[n - 2]);
        let coordinate = |value: f64| fit.response.coordinate(value);
        let inner: Vec<f64> = levels.iter().map(|&level| coordinate(level)).collect();
        let knots: Vec<f64> =
            [coordinate(low)].into_iter().chain(inner.iter().copied()).chain([coordinate(high)]).collect();
        let a = &fit.absorbance;
        let below = a[0] + (a[1] - a[0]) / (inner[1] - inner[0]) * (knots[0] - inner[0]);
        let above =
            a[n - 1] + (a[n - 1] - a[n - 2]) / (inner[n - 1] - inner[n - 2]) * (knots[n + 1] - inner[n - 1]);
        let heights: Vec<Vector3<f64>> =
            [below].into_iter().chain(a.iter().copied()).chain([above]).collect();
        let channel =
            |k: usize| Pchip::new(&knots, &heights.iter().map(|height| height[k]).collect::<Vec<_>>());
        let curves = [channel(0)?, channel(1)?, channel(2)?];
        let nodes = grid(levels, low, high)
            .into_iter()
            .map(|value| {
                let doubt = doubt_at(value, levels, &fit.doubt, &coordinate);
                Node { doubt, ..node(value, coordinate(value), &curves, &fit.lamp) }
            })
            .collect();
        Some(Self { levels: levels.to_vec(), nodes, priors: fit.priors })
    }

    /// Takes in the standard uncertainties of the standards' values, one a level, in the chart's unit.
    /// They are common to all photos of a standard, so no number of photos makes them smaller.
    pub fn with_value_uncertainty(mut self, uncertainties: &[f64]) -> Self {
        for node in &mut self.nodes {
            let (k, share) = between(&self.levels, node.value);
            node.value_sd = uncertainties[k - 1] * (1.0 - share) + uncertainties[k] * share;
        }
        self
    }

    /// First level.
    pub fn first(&self) -> f64 {
        self.levels[0]
    }

    /// Last level.
    pub fn last(&self) -> f64 {
        self.levels[self.levels.len() - 1]
    }

    /// Absorbance at a value, between the two nearest samples.
    pub fn absorbance_at(&self, value: f64) -> Vector3<f64> {
        let k = self.nodes.partition_point(|node| node.value <= value).clamp(1, self.nodes.len() - 1);
        let (a, b) = (&self.nodes[k - 1], &self.nodes[k]);
        let share = ((value - a.value) / (b.value - a.value)).clamp(0.0, 1.0);
        a.absorbance * (1.0 - share) + b.absorbance * share
    }

    /// Distance between the two levels that enclose a value; that of the outermost two beyond them.
    pub fn step_at(&self, value: f64) -> f64 {
        let k = self.levels.partition_point(|&level| level < value).clamp(1, self.levels.len() - 1);
        self.levels[k] - self.levels[k - 1]
    }
}

fn node(value: f64, coordinate: f64, curves: &[Pchip; 3], lamp: &Matrix3<f64>) -> Node {
    let absorbance = Vector3::from_fn(|channel, _| curves[channel].at(coordinate));
    Node { value, absorbance, by_lamp: lamp * absorbance, doubt: Vector3::zeros(), value_sd: 0.0 }
}

/// Variance of the absorbance at a value, from those of the levels. Beyond the last level, where the path
/// only goes on in a straight line, it grows as the variance of such a line does.
fn doubt_at(
    value: f64,
    levels: &[f64],
    doubt: &[Vector3<f64>],
    coordinate: &impl Fn(f64) -> f64,
) -> Vector3<f64> {
    let n = levels.len();
    let (last, before) = (coordinate(levels[n - 1]), coordinate(levels[n - 2]));
    let beyond = (coordinate(value) - last) / (last - before);
    if beyond > 0.0 {
        return doubt[n - 1] * (1.0 + beyond).powi(2) + doubt[n - 2] * beyond.powi(2);
    }
    let (k, share) = between(levels, value);
    doubt[k - 1] * (1.0 - share) + doubt[k] * share
}

/// Index of the level above a value and its share of the way to it; beyond the ends, the end.
fn between(levels: &[f64], value: f64) -> (usize, f64) {
    let k = levels.partition_point(|&level| level <= value).clamp(1, levels.len() - 1);
    (k, ((value - levels[k - 1]) / (levels[k] - levels[k - 1])).clamp(0.0, 1.0))
}

/// Values evenly spaced in steps.
fn grid(levels: &[f64], low: f64, high: f64) -> Vec<f64> {
    let (first, last) = (levels[0], levels[levels.len() - 1]);
    let ends: Vec<f64> = [low].into_iter().chain(levels.iter().copied()).chain([high]).collect();
    let mut values = Vec::new();
    for pair in ends.windows(2) {
        let share = if pair[1] <= first {
            STEPS_BELOW
        } else if pair[0] >= last {
            STEPS_ABOVE
        } else {
            1.0
        };
        let count = (share * NODES_PER_STEP as f64) as usize;
        values.extend((0..count).map(|k| pair[0] + (pair[1] - pair[0]) * k as f64 / count as f64));
    }
    values.push(high);
    values
}
