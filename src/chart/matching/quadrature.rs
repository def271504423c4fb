//! Which samples of the path are looked at, so that the probabilities of all are known.
//!
//! Most of the path has nothing to say: it is glanced at every half step first. Where that leaves a
//! chance, each piece of half a step is looked at in a few places, each look begun where its neighbours'
//! unknowns settled, and the logarithm of the likelihood is interpolated in between. Between two places
//! where the interpolation may be off by more than the result can bear (their share of the probability
//! counts, and how far out they lie) every sample is looked at.

mod course;
mod ends;
mod mesh;
mod piece;
mod weights;

use crate::chart::likelihood::{LANES, Look, Problem, beside};
use crate::chart::path::Node;
use crate::math::lanes;
use ends::{ratio_of, settled};
use mesh::SAMPLES;
use piece::pieces;
use weights::weights;

pub(super) use ends::glances;

/// The part of the path that matters.
pub(super) struct Part {
    /// Index of its first sample.
    pub first: usize,
    /// Logarithm of each sample's likelihood; that of none for those that are passed over.
    pub likelihoods: Vec<f64>,
    /// Each sample's sum of squares; the largest number for those that are passed over.
    pub chi_squares: Vec<f64>,
}

impl Part {
    /// Looks at the path, from glances at the ends of its pieces.
    pub fn of(nodes: &[Node], problem: &Problem, glances: Vec<Look>) -> Self {
        let ends = settled(nodes, problem, glances);
        let pieces = pieces(nodes, problem, &ends);
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else {
            return Self::passed_over(0, 2);
        };
        let mut part = Self::passed_over(first.begin, last.begin + SAMPLES - first.begin);
        let ratio = ratio_of(pieces.iter().flat_map(|piece| &piece.samples));
        let mut unsure = Vec::with_capacity(part.likelihoods.len());
        for (piece, weights) in pieces.iter().zip(weights(&pieces, nodes, ratio)) {
            piece.fill(nodes, problem, &weights, &mut part, &mut unsure);
        }
        part.look_closely(nodes, problem, &unsure);
        part
    }

    fn passed_over(first: usize, count: usize) -> Self {
        Self { first, likelihoods: vec![f64::NEG_INFINITY; count], chi_squares: vec![f64::MAX; count] }
    }

    /// Index behind its last sample.
    pub fn end(&self) -> usize {
        self.first + self.likelihoods.len()
    }

    /// Sum of squares of the sample that explains the colour best; infinite if none was looked at.
    pub fn least_chi_square(&self) -> f64 {
        let least = lanes::fold(&self.chi_squares, f64::MAX, |a, b| if b < a { b } else { a });
        if least < f64::MAX { least.max(0.0) } else { f64::INFINITY }
    }

    /// Looks at samples one by one, from about where their unknowns lie.
    fn look_closely(&mut self, nodes: &[Node], problem: &Problem, unsure: &[(usize, [f64; 5])]) {
        for some in unsure.chunks(LANES) {
            let four: [&(usize, [f64; 5]); LANES] = std::array::from_fn(|k| &some[k.min(some.len() - 1)]);
            let about = beside(four.map(|(_, about)| about));
            let looks = problem.look(four.map(|(node, _)| &nodes[*node]), about);
            for (&&(node, _), Look { explained, .. }) in four.iter().zip(looks) {
                self.likelihoods[node - self.first] = explained.likelihood;
                self.chi_squares[node - self.first] = explained.chi_square;
            }
        }
    }
}
