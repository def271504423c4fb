//! The ends of the path's pieces: glanced at all along it, and looked at until they have settled where they
//! have a chance.

use crate::chart::likelihood::{LANES, Look, Problem, beside};
use crate::chart::matching::birge_ratio;
use crate::chart::path::{NODES_PER_PIECE, Node};

/// Logarithm of the likelihood, against the best one of the first glance, below which an end of a piece
/// is not looked at again: unsettled unknowns keep it too low.
const NO_GLANCE: f64 = -60.0;

/// Glances of one or several problems at the samples at which one piece of the path meets the next.
pub fn glances<const N: usize>(
    nodes: &[Node],
    glance: impl Fn([&Node; LANES]) -> [[Look; LANES]; N],
) -> [Vec<Look>; N] {
    let pieces = (nodes.len() - 1) / NODES_PER_PIECE;
    let mut all: [Vec<Look>; N] = std::array::from_fn(|_| Vec::with_capacity(pieces + LANES));
    for begin in (0..=pieces).step_by(LANES) {
        let looks = glance(std::array::from_fn(|k| end_of_piece(nodes, begin + k)));
        all.iter_mut().zip(looks).for_each(|(ends, looks)| ends.extend(looks));
    }
    all.iter_mut().for_each(|ends| ends.truncate(pieces + 1));
    all
}

/// The sample at which a piece begins; the path's last beyond all pieces.
fn end_of_piece(nodes: &[Node], piece: usize) -> &Node {
    &nodes[(piece * NODES_PER_PIECE).min(nodes.len() - 1)]
}

/// Looks again at all ends that are worth it and at those beside them, until their unknowns have settled.
#[inline]
pub fn settled(nodes: &[Node], problem: &Problem, mut ends: Vec<Look>) -> Vec<Look> {
    let chance = best_of(&ends) + ratio_of(&ends) * NO_GLANCE;
    let is_worth = |look: &Look| look.explained.likelihood >= chance;
    let Some(first) = ends.iter().position(is_worth) else { return ends };
    let last = ends.iter().rposition(is_worth).unwrap_or(first);
    let (first, behind) = (first.saturating_sub(1), (last + 2).min(ends.len()));
    for begin in (first..behind).step_by(LANES) {
        let four: [usize; LANES] = std::array::from_fn(|k| (begin + k).min(behind - 1));
        let looks = problem.look(four.map(|k| end_of_piece(nodes, k)), beside(four.map(|k| &ends[k].state)));
        four.iter().zip(looks).for_each(|(&k, look)| ends[k] = look);
    }
    ends
}

/// Birge's ratio of what explains the colour best among them: beside the path all chances draw nearer to each other.
pub fn ratio_of<'a>(looks: impl IntoIterator<Item = &'a Look>) -> f64 {
    birge_ratio(looks.into_iter().map(|look| look.explained.chi_square).fold(f64::INFINITY, f64::min))
}

/// Logarithm of the highest likelihood among them.
#[inline]
pub fn best_of(looks: &[Look]) -> f64 {
    looks.iter().map(|look| look.explained.likelihood).fold(f64::NEG_INFINITY, f64::max)
}
