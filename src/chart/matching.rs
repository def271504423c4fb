//! From a colour to a probability over values.
//!
//! How well every sample of the path explains a colour is a matter of `likelihood.rs`; the prior
//! over values is even in steps, so that it favours no level. The value is the median, the interval
//! holds 95 %; both end where the chart ends, but where a chart begins above zero (pH) the interval
//! goes on below it as far as the path does.
//!
//! Most of the path has nothing to say: which of its samples are looked at is a matter of
//! `quadrature.rs`.

mod posterior;
mod quadrature;
#[cfg(test)]
mod tests;
mod together;
mod veiled;

use super::file::Form;
use super::likelihood::Problem;
use super::optics::DARKEST;
use super::path::{Node, Path};
use crate::colour::{Correction, LampScore, MixedLight};
use crate::math::exp::exp_all;
use crate::math::lanes;
use crate::terms::space::Relative;
use posterior::Posterior;
use quadrature::{Part, glances};

pub use together::{Asked, match_together};
pub use veiled::match_behind_veil;

/// Probability that the value lies above the last level from which on the photo is said to be above
/// the chart. Lower, and liquids at the last level are taken for ones above it; higher, and what is
/// above comes out as the last level, with a flag.
const SURELY_ABOVE: f64 = 0.8;
/// Sum of squares beyond which a colour lies off the path: another kit's, or a spoilt reagent's. For
/// three channels and five unknowns with priors 8 is ordinary; lamps and phones unlike those of the
/// standards reach 15.
const OFF_PATH: f64 = 40.0;
/// The same beyond the chart's end, where the path is only extended.
const OFF_EXTENDED_PATH: f64 = 150.0;
/// Sum of squares beyond which the colour of a vial is a little beside the path.
const BESIDE_PATH: f64 = 16.0;
/// The same of a pad, whose light and path differ little from photo to photo: one in a hundred of the
/// chi-square law of three channels (11.34, NIST/SEMATECH e-Handbook, 1.3.6.7.4). Of 48 pads in
/// untouched rendered photos none comes above 7.
const PAD_BESIDE_PATH: f64 = 11.34;

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
    /// Above the last level with more than 80 % probability; it certainly exceeds `low`.
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
    /// Probability that a veil lies on the sample, more than every glass mirrors of its room.
    pub veiled: f64,
}

impl Match {
    /// Whether the colour of a sample of this form lies a little beside the path.
    pub fn is_beside_path(&self, form: Form) -> bool {
        let most = match form {
            Form::Vial => BESIDE_PATH,
            Form::Strip => PAD_BESIDE_PATH,
        };
        self.chi_square > most
    }
}

/// Sum of squares of three channels on average, when all uncertainties are what they are taken for.
const ORDINARY: f64 = 3.0;

/// By how much all variances of a colour are too small whose sum of squares is this: what is unknown
/// enough to put it beside the path also moves it along the path. The ratio is Birge's (Phys. Rev. 40:207,
/// 1932), as the tables of particle data use it.
fn birge_ratio(chi_square: f64) -> f64 {
    if chi_square.is_finite() { (chi_square / ORDINARY).max(1.0) } else { 1.0 }
}

/// Matches a colour in the reference view to the path.
pub fn match_colour(path: &Path, colour: Relative, circumstances: &Circumstances) -> Match {
    let problem = Problem::new(colour, circumstances, path.priors);
    let [glances] = glances(&path.nodes, |four| [problem.glance(four)]);
    let part = Part::of(&path.nodes, &problem, glances);
    let chi_square = part.least_chi_square();
    let (first, likelihoods) = weighed_together(&[(&part, 0.0)], birge_ratio(chi_square));
    conclude(path, &path.nodes[first..first + likelihoods.len()], chi_square, likelihoods)
}

/// Logarithms of the samples' likelihoods, all variances taken for so many times as large.
fn widened(part: &Part, ratio: f64) -> Vec<f64> {
    let excess = excess(ratio);
    let both = part.likelihoods.iter().zip(&part.chi_squares);
    both.map(|(likelihood, chi_square)| likelihood + excess * chi_square).collect()
}

/// Likelihoods of several explanations together, each with the logarithm of its prior, from the first sample
/// on that any of them looks at; in a measure of their own. All variances are taken for so many times as large.
fn weighed_together(explanations: &[(&Part, f64)], ratio: f64) -> (usize, Vec<f64>) {
    let mut all: Vec<Vec<f64>> = explanations.iter().map(|(part, _)| widened(part, ratio)).collect();
    let best =
        all.iter().zip(explanations).map(|(own, (_, prior))| largest(own) + prior).fold(f64::MIN, f64::max);
    for (likelihoods, (_, prior)) in all.iter_mut().zip(explanations) {
        exp_of_differences(likelihoods, best - prior);
    }
    if let ([only], [(part, _)]) = (&mut all[..], explanations) {
        return (part.first, std::mem::take(only));
    }
    let first = explanations.iter().map(|(part, _)| part.first).min().unwrap_or(0);
    let end = explanations.iter().map(|(part, _)| part.end()).max().unwrap_or(0);
    let mut sums = vec![0.0; end - first];
    for (likelihoods, (part, _)) in all.iter().zip(explanations) {
        let own = sums[part.first - first..].iter_mut();
        own.zip(likelihoods).for_each(|(sum, likelihood)| *sum += *likelihood);
    }
    (first, sums)
}

/// Logarithm of a sum of exponentials.
fn log_sum(mut logs: Vec<f64>) -> f64 {
    let most = largest(&logs);
    if most == f64::NEG_INFINITY {
        return most;
    }
    exp_of_differences(&mut logs, most);
    most + logs.iter().sum::<f64>().ln()
}

/// The largest of numbers, none of them indefinite.
fn largest(numbers: &[f64]) -> f64 {
    lanes::fold(numbers, f64::NEG_INFINITY, |a, b| if b > a { b } else { a })
}

/// Exponentials of what numbers differ by from another one.
fn exp_of_differences(numbers: &mut [f64], other: f64) {
    numbers.iter_mut().for_each(|number| *number -= other);
    exp_all(numbers);
}

/// What of each sum of squares no longer counts against a sample then.
fn excess(ratio: f64) -> f64 {
    0.5 * (1.0 - ratio.recip())
}

/// What follows from the part of the path that matters.
fn conclude(path: &Path, nodes: &[Node], chi_square: f64, likelihoods: Vec<f64>) -> Match {
    let posterior = Posterior::new(nodes, likelihoods).with_value_uncertainty(&path.nodes);
    let above = posterior.above(path.last());
    let [low, middle, high] = [0.025, 0.5, 0.975].map(|p| posterior.quantile(p));
    let clamped = |value: f64| value.clamp(path.first(), path.last());
    // No concentration lies below zero, but a pH does lie below the chart's first level.
    let ends_at_zero = path.first() <= 0.0;
    let outcome = if !chi_square.is_finite() {
        Outcome::OffPath
    } else if above > SURELY_ABOVE && chi_square < OFF_EXTENDED_PATH {
        Outcome::Above { low: clamped(low) }
    } else if chi_square > OFF_PATH {
        Outcome::OffPath
    } else {
        let low = if ends_at_zero { clamped(low) } else { low.min(path.last()) };
        Outcome::Within { value: clamped(middle), low, high: clamped(high) }
    };
    let may_be_lower = !ends_at_zero && middle < path.first();
    let may_be_higher = high > path.last();
    let sd = posterior.sd_about(middle);
    Match { outcome, chi_square, above, sd, may_be_lower, may_be_higher, veiled: 0.0 }
}

/// The light that the path shows at a value in a typical photo: for pictures.
pub fn typical_light(path: &Path, value: f64) -> Relative {
    let absorbance = path.absorbance_at(value);
    std::array::from_fn(|channel| (10_f64.powf(-absorbance[channel]) + path.priors.veil_mean).max(DARKEST))
}
