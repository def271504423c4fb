//! Probabilities over the samples of a path.

use crate::chart::likelihood::Explained;
use crate::chart::path::Node;

/// Probabilities at a part of the path's samples; the rest have none.
pub(super) struct Posterior<'a> {
    nodes: &'a [Node],
    weights: Vec<f64>,
}

impl<'a> Posterior<'a> {
    pub(super) fn new(nodes: &'a [Node], explained: &[Explained]) -> Self {
        let best = explained.iter().map(|node| node.likelihood).fold(f64::NEG_INFINITY, f64::max);
        let mut weights: Vec<f64> = explained.iter().map(|node| (node.likelihood - best).exp()).collect();
        let total: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|weight| *weight /= total);
        Self { nodes, weights }
    }

    /// Every sample's probability is taken to lie half below and half above it.
    pub(super) fn quantile(&self, p: f64) -> f64 {
        let mut before: Option<(f64, f64)> = None;
        let mut sum = 0.0;
        for (node, weight) in self.nodes.iter().zip(&self.weights) {
            let cumulated = sum + weight / 2.0;
            if cumulated >= p {
                let Some((value, from)) = before else { return node.value };
                let share = if cumulated > from { (p - from) / (cumulated - from) } else { 0.0 };
                return value + share * (node.value - value);
            }
            before = Some((node.value, cumulated));
            sum += weight;
        }
        before.map_or(f64::NAN, |(value, _)| value)
    }

    /// Probability above a value.
    pub(super) fn above(&self, value: f64) -> f64 {
        let pairs = self.nodes.iter().zip(&self.weights);
        pairs.filter(|(node, _)| node.value > value).map(|(_, weight)| weight).sum()
    }

    /// Standard deviation of the value.
    pub(super) fn sd(&self) -> f64 {
        let pairs = || self.nodes.iter().map(|node| node.value).zip(&self.weights);
        let mean: f64 = pairs().map(|(value, weight)| weight * value).sum();
        pairs().map(|(value, weight)| weight * (value - mean).powi(2)).sum::<f64>().sqrt()
    }
}
