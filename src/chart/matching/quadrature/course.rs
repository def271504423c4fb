//! How the likelihood runs between the samples that were seen, and how far off that may be.

use super::mesh::{self, PLACES};

/// Error that the samples between two that are seen may bring into the probability and into the variance of
/// the value, as a share of all.
const TOLERANCE: f64 = 1e-4;
/// How far off the interpolation may be where there is a kink, as a share of its highest difference.
const KINKED: f64 = 1.0;
/// Possible error of the likelihood's logarithm from which on the polynomial is held between the samples.
const HELD: f64 = 0.01;

/// A course of the likelihood through some samples in a row.
#[derive(Clone, Copy)]
pub struct Course {
    /// Place of the first of them.
    pub first: usize,
    /// How many there are.
    pub samples: usize,
    /// How far off the polynomial through them may be.
    pub doubt: f64,
}

impl Course {
    /// Through all samples of a piece in which there may be a kink.
    #[inline]
    pub fn whole(likelihoods: &[f64; PLACES]) -> Self {
        let doubt = KINKED * mesh::highest_difference(likelihoods);
        Self { first: 0, samples: PLACES, doubt }
    }

    /// Whether the result bears its error where the samples weigh so much.
    #[inline]
    pub fn is_bearable(&self, weight: f64) -> bool {
        self.doubt.min(1.0) * weight <= TOLERANCE
    }

    /// Makes it what is said between two samples, in place of what the polynomial through all of them does.
    pub fn hold(&self, between: &mut [f64], seen: &[f64; PLACES], interval: usize) {
        if self.samples < PLACES {
            let seen = &seen[self.first..self.first + self.samples];
            between.copy_from_slice(&mesh::between(seen, interval - self.first));
        }
        if self.doubt > HELD {
            let (a, b) = (seen[interval], seen[interval + 1]);
            let (least, most) = if a < b { (a, b) } else { (b, a) };
            between.iter_mut().for_each(|value| *value = value.clamp(least, most));
        }
    }
}
