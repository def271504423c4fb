//! Probabilities over the samples of a path.

use crate::chart::path::Node;

/// Probabilities at a part of the path's samples; the rest have none.
pub(super) struct Posterior<'a> {
    nodes: &'a [Node],
    weights: Vec<f64>,
    /// Probability below each sample, whose own is taken to lie half below and half above it.
    below: Vec<f64>,
}

impl<'a> Posterior<'a> {
    /// From the samples' likelihoods, in any measure.
    pub(super) fn new(nodes: &'a [Node], mut likelihoods: Vec<f64>) -> Self {
        let total: f64 = likelihoods.iter().sum();
        likelihoods.iter_mut().for_each(|likelihood| *likelihood /= total);
        Self::of(nodes, likelihoods)
    }

    fn of(nodes: &'a [Node], weights: Vec<f64>) -> Self {
        let mut sum = 0.0;
        let below = |weight: &f64| {
            sum += weight;
            sum - weight / 2.0
        };
        let below = weights.iter().map(below).collect();
        Self { nodes, weights, below }
    }

    /// Spreads each sample's probability over the whole path by the standards' own uncertainty there:
    /// the colour tells where on the chart it lies, and the chart tells the value only as well as its
    /// standards were known. Variances add, as in the GUM (JCGM 100:2008, 5.1.2).
    pub(super) fn with_value_uncertainty(self, path: &'a [Node]) -> Self {
        if self.nodes.iter().all(|node| node.value_sd <= 0.0) {
            return self;
        }
        let last = path.len() - 1;
        let cell = |k: usize| (path[(k + 1).min(last)].value - path[k.saturating_sub(1)].value) / 2.0;
        let cells: Vec<f64> = (0..path.len()).map(cell).collect();
        let mut weights = vec![0.0; path.len()];
        for (node, weight) in self.nodes.iter().zip(&self.weights).filter(|(_, weight)| **weight > 1e-12) {
            // Narrower than the path is sampled, a kernel is its own sample.
            let sd = node.value_sd.max(1e-9);
            let kernel: Vec<f64> = path
                .iter()
                .zip(&cells)
                .map(|(other, cell)| cell * (-0.5 * ((other.value - node.value) / sd).powi(2)).exp())
                .collect();
            let total: f64 = kernel.iter().sum();
            weights.iter_mut().zip(kernel).for_each(|(sum, share)| *sum += weight * share / total);
        }
        Self::of(path, weights)
    }

    /// Between two samples on a straight line.
    pub(super) fn quantile(&self, p: f64) -> f64 {
        let k = self.below.partition_point(|below| *below < p);
        let Some(node) = self.nodes.get(k) else {
            return self.nodes.last().map_or(f64::NAN, |node| node.value);
        };
        let Some(before) = k.checked_sub(1) else { return node.value };
        let (from, to) = (self.below[before], self.below[k]);
        let share = if to > from { (p - from) / (to - from) } else { 0.0 };
        let value = self.nodes[before].value;
        value + share * (node.value - value)
    }

    /// Probability above a value.
    pub(super) fn above(&self, value: f64) -> f64 {
        let first = self.nodes.partition_point(|node| node.value <= value);
        self.weights[first..].iter().sum()
    }

    /// Standard deviation of the value.
    pub(super) fn sd(&self) -> f64 {
        let pairs = || self.nodes.iter().map(|node| node.value).zip(&self.weights);
        let mean: f64 = pairs().map(|(value, weight)| weight * value).sum();
        pairs().map(|(value, weight)| weight * (value - mean).powi(2)).sum::<f64>().sqrt()
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;

    /// By hand, after the GUM (JCGM 100:2008, 5.1.2): 0.10 and 0.24 combine to
    /// sqrt(0.0100 + 0.0576) = 0.26, and 95 % of a normal law lie within 1.96 x 0.26 = 0.51.
    #[test]
    fn the_standards_own_uncertainty_adds_to_a_readings_in_quadrature() {
        let node = |k: usize| Node {
            value: 0.02 * k as f64,
            absorbance: Vector3::zeros(),
            by_lamp: Vector3::zeros(),
            doubt: Vector3::zeros(),
            value_sd: 0.24,
        };
        let nodes: Vec<Node> = (0..=300).map(node).collect();
        let likelihood = |node: &Node| (-0.5 * ((node.value - 3.0) / 0.10).powi(2)).exp();
        let alone = Posterior::new(&nodes, nodes.iter().map(likelihood).collect());
        assert!((alone.sd() - 0.10).abs() < 1e-3);
        let combined = alone.with_value_uncertainty(&nodes);
        assert!((combined.sd() - 0.26).abs() < 1e-3, "{}", combined.sd());
        assert!((combined.quantile(0.5) - 3.0).abs() < 1e-3);
        assert!((combined.quantile(0.975) - 3.51).abs() < 5e-3, "{}", combined.quantile(0.975));
    }
}
