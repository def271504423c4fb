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

use super::file::Form;
use super::likelihood::{Explained, Problem};
use super::optics::{DARKEST, Priors};
use super::path::{Node, Path};
use crate::colour::{Correction, LampScore, MixedLight};
use crate::sample::Veil;
use crate::terms::space::Relative;
use posterior::Posterior;
use quadrature::{Part, glances};

/// Probability that the value lies above the last level from which on the photo is said to be above
/// the chart. Lower, and liquids at the last level are taken for ones above it; higher, and what is
/// above comes out as the last level, with a flag.
const SURELY_ABOVE: f64 = 0.8;
/// Sum of squares beyond which a colour lies off the path: another kit's, or a spoilt reagent's. For
/// three channels and five unknowns with priors 8 is ordinary; lamps and phones unlike those of the
/// standards reach 15.
const OFF_PATH: f64 = 40.0;
/// Beyond this the colour of a vial is a little beside the path.
const BESIDE_PATH: f64 = 16.0;
/// The same of a pad, whose light and path differ little from photo to photo: one in a hundred of the
/// chi-square law of three channels (11.34, NIST/SEMATECH e-Handbook, 1.3.6.7.4). Of 48 pads in
/// untouched rendered photos none comes above 7.
const PAD_BESIDE_PATH: f64 = 11.34;
/// Probability from which on a veil is said to lie on the sample. Of 70 vials and 48 pads in rendered photos
/// without one, one vial comes above 0.5.
const SURELY_VEILED: f64 = 0.8;
/// Mean and standard deviation of a veil all over a sample, as shares of what lies between its bounds.
/// Anywhere between them it would be 0.5 and 0.29, were they exact.
const VEIL_MEAN: f64 = 0.5;
const VEIL_SD: f64 = 0.4;
/// Beyond the upper bound: what the correction may make of a dark colour, as a share and as light.
const VEIL_MARGIN: (f64, f64) = (0.1, 0.01);
/// Steam also hides a part of the sample, as a shade would: three tenths are 0.15, decadic absorbance.
const STEAM_SHADE_SD: f64 = 0.12;
/// The most that a veil is taken to be, share of paper white.
const MOST_VEIL: f64 = 0.4;
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
    /// Whether a veil lies on the sample, by all appearances.
    pub fn is_veiled(&self) -> bool {
        self.veiled > SURELY_VEILED
    }

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
    let Part { first, mut words } = Part::of(&path.nodes, &problem, glances);
    let ratio = birge_ratio(least_chi_square(&words));
    widen(&mut words, ratio);
    conclude(path, &path.nodes[first..first + words.len()], &words)
}

/// Matches the colour of a sample that a veil within these bounds may lie on. Steam, or a window mirrored
/// all over the glass, makes a sample paler than the usual veil can, and often nothing in its colour tells.
/// So the more veil its surroundings allow, the more is thought possible beside the usual one, and both
/// explanations share the probability; the more veil they show, the less is left to the usual one.
pub fn match_behind_veil(path: &Path, colour: Relative, circumstances: &Circumstances, veil: Veil) -> Match {
    let Some((veiled, chances)) = veiled(path.priors, veil) else {
        return match_colour(path, colour, circumstances);
    };
    let usual = Problem::new(colour, circumstances, path.priors);
    let veiled = Problem::new(colour, circumstances, veiled);
    let [seen_usual, seen_veiled] = glances(&path.nodes, |four| usual.glance_with(&veiled, four));
    let mut parts = [Part::of(&path.nodes, &usual, seen_usual), Part::of(&path.nodes, &veiled, seen_veiled)];
    let veiled = probability_of_second(&parts, chances);
    let ratio = birge_ratio(least_chi_square(&parts[0].words));
    parts.iter_mut().for_each(|part| widen(&mut part.words, ratio));
    let begin = parts[0].first.min(parts[1].first);
    let end = parts[0].end().max(parts[1].end());
    let both: Vec<Explained> = (begin..end).map(|k| parts[0].word(k).or(parts[1].word(k), chances)).collect();
    Match { veiled, ..conclude(path, &path.nodes[begin..end], &both) }
}

/// Probability of the second of two explanations, with all variances as large as the better of them asks for.
fn probability_of_second(parts: &[Part; 2], chances: [f64; 2]) -> f64 {
    let chi_square = parts.each_ref().map(|part| least_chi_square(&part.words));
    let excess = excess(birge_ratio(chi_square[0].min(chi_square[1])));
    let words = parts.each_ref().map(|part| {
        part.words
            .iter()
            .filter(|word| word.chi_square.is_finite())
            .map(move |w| w.likelihood + excess * w.chi_square)
    });
    let best = words.iter().cloned().flatten().fold(f64::NEG_INFINITY, f64::max);
    let [first, second] = words.map(|words| words.map(|word| (word - best).exp()).sum::<f64>());
    let sum = chances[0] * first + chances[1] * second;
    if sum > 0.0 { chances[1] * second / sum } else { 0.0 }
}

/// What is known beforehand of a photo whose sample a veil lies on, and how probable the usual veil and such
/// a one are; `None` if the bounds leave no room for more than the usual one.
fn veiled(usual: Priors, veil: Veil) -> Option<(Priors, [f64; 2])> {
    let most = ((1.0 + VEIL_MARGIN.0) * veil.most + VEIL_MARGIN.1).min(MOST_VEIL);
    let least = veil.least.min(most);
    if most <= usual.veil_mean + 1.5 * usual.veil_sd {
        return None;
    }
    let between = most - least;
    let veil_sd = (VEIL_SD * between).max(usual.veil_sd);
    let shade_sd = usual.shade_sd.max(STEAM_SHADE_SD);
    let veiled = Priors { veil_mean: least + VEIL_MEAN * between, veil_sd, shade_sd, ..usual };
    let beyond = ((least - usual.veil_mean) / usual.veil_sd).max(0.0);
    let usually = (1.0 - veil.chance) * (-0.5 * beyond * beyond).exp().max(veil.misled);
    Some((veiled, [usually, veil.chance].map(|chance| chance / (usually + veil.chance))))
}

impl Explained {
    /// Likelihood of either explanation. How well the colour fits is still asked of the usual one.
    fn or(self, veiled: Self, chances: [f64; 2]) -> Self {
        let most = self.likelihood.max(veiled.likelihood);
        if most == f64::NEG_INFINITY {
            return self;
        }
        let share = |chance: f64, likelihood: f64| chance * (likelihood - most).exp();
        let sum = share(chances[0], self.likelihood) + share(chances[1], veiled.likelihood);
        Self { likelihood: most + sum.ln(), ..self }
    }
}

/// Takes all variances for so many times as large.
fn widen(explained: &mut [Explained], ratio: f64) {
    let excess = excess(ratio);
    let looked_at = explained.iter_mut().filter(|word| word.chi_square.is_finite());
    looked_at.for_each(|word| word.likelihood += excess * word.chi_square);
}

/// What of each sum of squares no longer counts against a sample then.
fn excess(ratio: f64) -> f64 {
    0.5 * (1.0 - ratio.recip())
}

fn least_chi_square<'a>(explained: impl IntoIterator<Item = &'a Explained>) -> f64 {
    explained.into_iter().map(|word| word.chi_square).fold(f64::INFINITY, f64::min)
}

/// What follows from the part of the path that matters.
fn conclude(path: &Path, nodes: &[Node], explained: &[Explained]) -> Match {
    let chi_square = least_chi_square(explained);
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
    Match { outcome, chi_square, above, sd: posterior.sd(), may_be_lower, may_be_higher, veiled: 0.0 }
}

/// The light that the path shows at a value in a typical photo: for pictures.
pub fn typical_light(path: &Path, value: f64) -> Relative {
    let absorbance = path.absorbance_at(value);
    std::array::from_fn(|channel| (10_f64.powf(-absorbance[channel]) + path.priors.veil_mean).max(DARKEST))
}
