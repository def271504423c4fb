//! From a colour to a probability over values.
//!
//! How well every sample of the path explains a colour is a matter of `likelihood.rs`; the prior
//! over values is even in steps, so that it favours no level. The value is the median, the interval
//! holds 95 %; both end where the chart ends, but where a chart begins above zero (pH) the interval
//! goes on below it as far as the path does.
//!
//! Most of the path has nothing to say: it is looked at every half step first, then more closely where
//! that leaves a chance, and between six samples of a smooth piece the logarithm of the likelihood is
//! interpolated.

mod posterior;
#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use super::likelihood::{Explained, LANES, Problem};
use super::optics::DARKEST;
use super::path::{NODES_PER_PIECE, Node, Path};
use crate::colour::{Correction, LampScore, MixedLight};
use crate::terms::space::Relative;
use posterior::Posterior;

/// Probability that the value lies above the last level from which on the photo is said to be above
/// the chart. Lower, and liquids at the last level are taken for ones above it; higher, and what is
/// above comes out as the last level, with a flag.
const SURELY_ABOVE: f64 = 0.85;
/// Sum of squares beyond which a colour lies off the path: another kit's, or a spoilt reagent's. For
/// three channels and five unknowns with priors 8 is ordinary; lamps and phones unlike those of the
/// standards reach 15.
const OFF_PATH: f64 = 40.0;
/// Beyond this the colour is a little beside the path.
const BESIDE_PATH: f64 = 16.0;
/// The same beyond the chart's end, where the path is only extended.
const OFF_EXTENDED_PATH: f64 = 150.0;

/// What a photo tells besides the colour itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circumstances {
    /// Relative error of the colour correction.
    pub residual: f64,
    /// How unlike the reference's its lamp and phone are, natural logarithm.
    pub hue_shift: f64,
    /// Lamp score and its standard uncertainty.
    pub lamp: (f64, f64),
    /// Natural logarithm, for each channel, of what the sample's light may differ from the paper's
    /// in mixed light (one standard deviation).
    pub mixed: [f64; 3],
    /// Relative scatter of the colour over the sample, beyond what the correction misses.
    pub unevenness: f64,
}

impl Circumstances {
    /// Those of a sample in a photo whose light may be mixed.
    pub fn of(correction: &Correction, lamp: &LampScore, mixed: &MixedLight, unevenness: f64) -> Self {
        Self {
            residual: correction.residual(),
            hue_shift: correction.hue_shift(),
            lamp: (lamp.mean, lamp.sd),
            mixed: mixed.gain,
            unevenness,
        }
    }
}

/// What a colour says of the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// Median and 95 % interval, in the chart's unit, within the chart.
    Within {
        /// Median.
        value: f64,
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// Above the last level with more than 85 % probability; it certainly exceeds `low`.
    Above {
        /// Bound exceeded with 97.5 % probability, at most the last level.
        low: f64,
    },
    /// The path, with all that may differ from photo to photo, does not explain the colour.
    OffPath,
}

/// The result of matching one colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// What it says.
    pub outcome: Outcome,
    /// Sum of squares at the best value.
    pub chi_square: f64,
    /// Probability that the value lies above the last level.
    pub above: f64,
    /// Standard deviation of the value, free of the chart's ends.
    pub sd: f64,
    /// Whether the value may lie below the path altogether: only where the chart begins above zero.
    pub may_be_lower: bool,
    /// Whether the interval goes on beyond the last level, where the chart ends.
    pub may_be_higher: bool,
}

impl Match {
    /// Whether the colour lies a little beside the path.
    pub fn is_beside_path(&self) -> bool {
        self.chi_square > BESIDE_PATH
    }
}

/// Matches a colour in the reference view to the path.
pub fn match_colour(path: &Path, colour: Relative, circumstances: &Circumstances) -> Match {
    let problem = Problem::new(colour, circumstances, path.priors);
    let (first, explained) = explain(&path.nodes, &problem);
    conclude(path, &path.nodes[first..first + explained.len()], &explained)
}

/// What follows from the part of the path that matters.
fn conclude(path: &Path, nodes: &[Node], explained: &[Explained]) -> Match {
    let chi_square = explained.iter().map(|node| node.chi_square).fold(f64::INFINITY, f64::min);
    let posterior = Posterior::new(nodes, explained).with_value_uncertainty(&path.nodes);
    let above = posterior.above(path.last());
    let clamped = |p: f64| posterior.quantile(p).clamp(path.first(), path.last());
    // No concentration lies below zero, but a pH does lie below the chart's first level.
    let ends_at_zero = path.first() <= 0.0;
    let low = if ends_at_zero { clamped(0.025) } else { posterior.quantile(0.025).min(path.last()) };
    let outcome = if !chi_square.is_finite() {
        Outcome::OffPath
    } else if above > SURELY_ABOVE && chi_square < OFF_EXTENDED_PATH {
        Outcome::Above { low: clamped(0.025) }
    } else if chi_square > OFF_PATH {
        Outcome::OffPath
    } else {
        Outcome::Within { value: clamped(0.5), low, high: clamped(0.975) }
    };
    let may_be_lower = !ends_at_zero && posterior.quantile(0.5) < path.first();
    let may_be_higher = posterior.quantile(0.975) > path.last();
    Match { outcome, chi_square, above, sd: posterior.sd(), may_be_lower, may_be_higher }
}

/// Samples of a piece between two neighbouring ones of the second look.
const STRIDE: usize = NODES_PER_PIECE / 5;
/// Logarithm of the likelihood, against the best one of the first look, below which both ends of a
/// piece must lie for it to be passed over.
const NO_CHANCE: f64 = -22.0;
/// The same, against the best one of the second look, for all six samples of a piece that is not
/// looked at sample by sample.
const SMALL_CHANCE: f64 = -8.0;
/// What a sample that is passed over says.
const PASSED_OVER: Explained = Explained { likelihood: f64::NEG_INFINITY, chi_square: f64::INFINITY };

/// What the part of the path that matters says: the index of its first sample, and a word of each.
fn explain(nodes: &[Node], problem: &Problem) -> (usize, Vec<Explained>) {
    let pieces = (nodes.len() - 1) / NODES_PER_PIECE;
    let ends = ends_of_pieces(nodes, problem, pieces);
    let best = best_of(&ends);
    let has_chance = |piece: &usize| best_of(&ends[*piece..piece + 2]) >= best + NO_CHANCE;
    let Some(first) = (0..pieces).find(has_chance) else { return (0, vec![PASSED_OVER; 2]) };
    let last = (0..pieces).rev().find(has_chance).unwrap_or(first);
    let range = first * NODES_PER_PIECE..=(last + 1) * NODES_PER_PIECE;
    let mut explained = vec![PASSED_OVER; range.end() - range.start() + 1];
    let nodes = &nodes[range];
    let begins = || (first..=last).filter(has_chance).map(|piece| (piece - first) * NODES_PER_PIECE);
    for (begin, ends) in begins().zip((first..=last).filter(has_chance).map(|piece| &ends[piece..piece + 2]))
    {
        let inner = problem.explain(std::array::from_fn(|k| &nodes[begin + (k + 1) * STRIDE]));
        let six = [ends[0], inner[0], inner[1], inner[2], inner[3], ends[1]];
        interpolate(&six, &mut explained[begin..=begin + NODES_PER_PIECE]);
    }
    let best = best_of(&explained);
    for begin in begins() {
        let own = &mut explained[begin..=begin + NODES_PER_PIECE];
        if best_of(own) >= best + SMALL_CHANCE {
            look_closely(&nodes[begin..], problem, own);
        }
    }
    (first * NODES_PER_PIECE, explained)
}

fn best_of(explained: &[Explained]) -> f64 {
    explained.iter().map(|node| node.likelihood).fold(f64::NEG_INFINITY, f64::max)
}

/// Replaces what was interpolated in a piece.
fn look_closely(nodes: &[Node], problem: &Problem, piece: &mut [Explained]) {
    let between: [usize; 3 * LANES] =
        std::array::from_fn(|k| (k / 2 * STRIDE + k % 2 + 1).min(NODES_PER_PIECE - 1));
    for four in between.as_chunks::<LANES>().0 {
        let own = problem.explain(four.map(|k| &nodes[k]));
        four.iter().zip(own).for_each(|(&k, own)| piece[k] = own);
    }
}

/// The samples at which one smooth piece of the path meets the next.
fn ends_of_pieces(nodes: &[Node], problem: &Problem, pieces: usize) -> Vec<Explained> {
    let mut ends = Vec::with_capacity(pieces + LANES);
    for begin in (0..=pieces).step_by(LANES) {
        let end = |k: usize| &nodes[(begin + k).min(pieces) * NODES_PER_PIECE];
        ends.extend(problem.explain(std::array::from_fn(end)));
    }
    ends.truncate(pieces + 1);
    ends
}

/// Lagrange's polynomial through six evenly spaced samples of a piece.
fn interpolate(six: &[Explained; 6], piece: &mut [Explained]) {
    for (k, node) in piece.iter_mut().enumerate() {
        if k % STRIDE == 0 {
            *node = six[k / STRIDE];
            continue;
        }
        let weights = &WEIGHTS[k];
        let sum = |value: fn(&Explained) -> f64| six.iter().zip(weights).map(|(e, w)| w * value(e)).sum();
        *node = Explained { likelihood: sum(|e| e.likelihood), chi_square: sum(|e| e.chi_square) };
    }
}

/// Weights of the six samples at every place of a piece.
static WEIGHTS: LazyLock<[[f64; 6]; NODES_PER_PIECE + 1]> = LazyLock::new(|| {
    std::array::from_fn(|k| {
        let x = k as f64 / STRIDE as f64;
        std::array::from_fn(|own| {
            (0..6)
                .filter(|other| *other != own)
                .map(|other| (x - other as f64) / (own as f64 - other as f64))
                .product()
        })
    })
});

/// The light that the path shows at a value in a typical photo: for pictures.
pub fn typical_light(path: &Path, value: f64) -> Relative {
    let absorbance = path.absorbance_at(value);
    std::array::from_fn(|channel| (10_f64.powf(-absorbance[channel]) + path.priors.veil_mean).max(DARKEST))
}
