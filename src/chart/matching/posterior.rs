//! Probabilities over the samples of a path.

use crate::chart::likelihood::LANES;
use crate::chart::path::Node;
use crate::math::lanes;

/// Samples of a block.
const BLOCK: usize = 16;

/// Probabilities at a part of the path's samples, in a measure of their own; the rest have none.
pub(super) struct Posterior<'a> {
    nodes: &'a [Node],
    weights: Vec<f64>,
    /// Probability before each block of samples.
    before: Vec<f64>,
    total: f64,
}

impl<'a> Posterior<'a> {
    /// From the samples' likelihoods, in any measure.
    pub(super) fn new(nodes: &'a [Node], weights: Vec<f64>) -> Self {
        let mut total = 0.0;
        let mut before = Vec::with_capacity(weights.len().div_ceil(BLOCK));
        for block in weights.chunks(BLOCK) {
            before.push(total);
            total += sum(block);
        }
        Self { nodes, weights, before, total }
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
        for (node, weight) in
            self.nodes.iter().zip(&self.weights).filter(|(_, weight)| **weight > 1e-12 * self.total)
        {
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
        Self::new(path, weights)
    }

    /// Between two samples on a straight line. Half of each sample's own probability is taken to lie below it.
    pub(super) fn quantile(&self, p: f64) -> f64 {
        let wanted = p * self.total;
        let block = self.before.partition_point(|before| *before <= wanted).saturating_sub(1);
        let begin = block * BLOCK;
        let Some(mut sum) = self.before.get(block).copied() else { return f64::NAN };
        let mut last = begin.checked_sub(1).map(|k| (sum - 0.5 * self.weights[k], self.nodes[k].value));
        for (node, weight) in self.nodes.iter().zip(&self.weights).skip(begin) {
            let below = sum + 0.5 * weight;
            if below >= wanted {
                let Some((from, value)) = last else { return node.value };
                let share = if below > from { (wanted - from) / (below - from) } else { 0.0 };
                return value + share * (node.value - value);
            }
            sum += weight;
            last = Some((below, node.value));
        }
        self.nodes.last().map_or(f64::NAN, |node| node.value)
    }

    /// Probability above a value.
    pub(super) fn above(&self, value: f64) -> f64 {
        let first = self.nodes.partition_point(|node| node.value <= value);
        sum(&self.weights[first..]) / self.total
    }

    /// Standard deviation of the value, reckoned from one in its midst.
    pub(super) fn sd_about(&self, middle: f64) -> f64 {
        let (mut first, mut second) = ([0.0; LANES], [0.0; LANES]);
        for (nodes, weights) in self.nodes.chunks(LANES).zip(self.weights.chunks(LANES)) {
            for (k, (node, weight)) in nodes.iter().zip(weights).enumerate() {
                let off = node.value - middle;
                first[k] += weight * off;
                second[k] += weight * off * off;
            }
        }
        let [mean, square] = [first, second].map(|sums| sums.iter().sum::<f64>() / self.total);
        (square - mean * mean).max(0.0).sqrt()
    }
}

fn sum(numbers: &[f64]) -> f64 {
    lanes::fold(numbers, 0.0, |a, b| a + b)
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
        assert!((alone.sd_about(3.0) - 0.10).abs() < 1e-3);
        let combined = alone.with_value_uncertainty(&nodes);
        assert!((combined.sd_about(3.0) - 0.26).abs() < 1e-3, "{}", combined.sd_about(3.0));
        assert!((combined.quantile(0.5) - 3.0).abs() < 1e-3);
        assert!((combined.quantile(0.975) - 3.51).abs() < 5e-3, "{}", combined.quantile(0.975));
    }
}
