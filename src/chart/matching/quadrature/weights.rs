//! How much each sample that was seen counts for the result: where it counts little, much can be interpolated.

use super::mesh::{PLACES, STRIDE};
use super::piece::Piece;
use crate::chart::likelihood::Look;
use crate::chart::matching::{excess, exp_of_differences};
use crate::chart::path::Node;

/// Where the interval of 95 % ends, and the normal law's density there, with a standard deviation of one.
const ENDS: [f64; 2] = [0.025, 0.975];
const NORMAL_DENSITY: f64 = 0.058;

/// How much the samples of a piece count.
pub struct Weights {
    /// Logarithm of their likelihoods, all variances widened.
    pub likelihoods: [f64; PLACES],
    /// What each adds, with those around it, to the probability and to the variance of the value, as a share
    /// of all.
    pub of_samples: [f64; PLACES],
}

/// Those of all pieces.
#[inline]
pub fn weights(pieces: &[Piece], nodes: &[Node], ratio: f64) -> Vec<Weights> {
    let excess = excess(ratio);
    let likelihood = |look: &Look| look.explained.likelihood + excess * look.explained.chi_square;
    let likelihoods: Vec<[f64; PLACES]> =
        pieces.iter().map(|piece| piece.samples.each_ref().map(likelihood)).collect();
    let mut of_samples = likelihoods.clone();
    let best = likelihoods.as_flattened().iter().copied().fold(f64::NEG_INFINITY, f64::max);
    exp_of_differences(of_samples.as_flattened_mut(), best);
    let mut sums = [0.0; 3];
    for (piece, weights) in pieces.iter().zip(&of_samples) {
        for (value, weight) in piece.values(nodes).into_iter().zip(weights) {
            sums = [sums[0] + weight, sums[1] + weight * value, sums[2] + weight * value * value];
        }
    }
    let mean = sums[1] / sums[0];
    let variance = (sums[2] / sums[0] - mean * mean).max(f64::MIN_POSITIVE);
    let sharpness = density_at_ends(pieces, &of_samples, nodes, sums[0]) * variance.sqrt() / NORMAL_DENSITY;
    let scale = 1.0 / (sums[0] * sharpness.min(1.0));
    for (piece, weights) in pieces.iter().zip(&mut of_samples) {
        for (value, weight) in piece.values(nodes).into_iter().zip(weights) {
            *weight *= (1.0 + (value - mean).powi(2) / variance) * scale;
        }
    }
    let both = likelihoods.into_iter().zip(of_samples);
    both.map(|(likelihoods, of_samples)| Weights { likelihoods, of_samples }).collect()
}

/// Least density of the probability where the interval ends, roughly: where it is low, little probability
/// moves an end far.
fn density_at_ends(pieces: &[Piece], weights: &[[f64; PLACES]], nodes: &[Node], all: f64) -> f64 {
    let (mut below, mut least) = (0.0, f64::INFINITY);
    for (piece, weights) in pieces.iter().zip(weights) {
        let width = STRIDE as f64 * (nodes[piece.begin + 1].value - nodes[piece.begin].value);
        for pair in weights.windows(2) {
            let share = 0.5 * (pair[0] + pair[1]) / all;
            if ENDS.iter().any(|end| (below..below + share).contains(end)) {
                least = least.min(share / width);
            }
            below += share;
        }
    }
    least
}
