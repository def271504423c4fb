//! From a colour to a probability over values.
//!
//! How well every sample of the path explains a colour is a matter of `likelihood.rs`; the prior
//! over values is even in steps, so that it favours no level. The value is the median, the interval
//! holds 95 %; both end where the chart ends, but where a chart begins above zero (pH) the interval
//! goes on below it as far as the path does.
//!
//! Most of the path has nothing to say: it is glanced at every half step first, then looked at more
//! closely where that leaves a chance, each look begun where its neighbours' unknowns settled. Between
//! six samples of a piece the logarithm of the likelihood is interpolated, unless it has a kink there.

mod posterior;
#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use super::file::Form;
use super::likelihood::{Explained, LANES, Look, Problem};
use super::optics::{DARKEST, Priors};
use super::path::{NODES_PER_PIECE, Node, Path};
use crate::colour::{Correction, LampScore, MixedLight};
use crate::sample::Veil;
use crate::terms::space::Relative;
use posterior::Posterior;

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
    let (first, mut explained) = explain(&path.nodes, &problem, glances);
    let ratio = birge_ratio(least_chi_square(&explained));
    widen(&mut explained, ratio);
    conclude(path, &path.nodes[first..first + explained.len()], &explained)
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
    let mut parts = [explain(&path.nodes, &usual, seen_usual), explain(&path.nodes, &veiled, seen_veiled)];
    let veiled = probability_of_second(&parts, chances);
    let ratio = birge_ratio(least_chi_square(&parts[0].1));
    parts.iter_mut().for_each(|(_, words)| widen(words, ratio));
    let begin = parts[0].0.min(parts[1].0);
    let end = parts.each_ref().map(|(first, words)| first + words.len()).into_iter().fold(0, usize::max);
    let word = |(first, words): &(usize, Vec<Explained>), k: usize| {
        k.checked_sub(*first).and_then(|k| words.get(k)).copied().unwrap_or(PASSED_OVER)
    };
    let both: Vec<Explained> =
        (begin..end).map(|k| word(&parts[0], k).or(word(&parts[1], k), chances)).collect();
    Match { veiled, ..conclude(path, &path.nodes[begin..end], &both) }
}

/// Probability of the second of two explanations, with all variances as large as the better of them asks for.
fn probability_of_second(parts: &[(usize, Vec<Explained>); 2], chances: [f64; 2]) -> f64 {
    let chi_square = parts.each_ref().map(|(_, words)| least_chi_square(words));
    let excess = excess(birge_ratio(chi_square[0].min(chi_square[1])));
    let words = parts.each_ref().map(|(_, words)| {
        words
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
    let usually = (1.0 - veil.chance) * (-0.5 * beyond * beyond).exp();
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

fn least_chi_square(explained: &[Explained]) -> f64 {
    explained.iter().map(|word| word.chi_square).fold(f64::INFINITY, f64::min)
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

/// Samples of a piece between two neighbouring ones of the second look.
const STRIDE: usize = NODES_PER_PIECE / 5;
/// Logarithm of the likelihood, against the best one of the first glance, below which an end of a piece
/// is not looked at again: unsettled unknowns keep it too low.
const NO_GLANCE: f64 = -80.0;
/// The same, against the best one of all ends, below which both ends of a piece must lie for it to be
/// passed over.
const NO_CHANCE: f64 = -22.0;
/// The same, against the best one of all ends, for all six samples of a piece that is not looked at
/// sample by sample, even if it has a kink.
const SMALL_CHANCE: f64 = -14.0;
/// Fifth difference of the likelihood's logarithm at six samples up to which it has no kink.
const SMOOTH: f64 = 0.01;
/// What a sample that is passed over says.
const PASSED_OVER: Explained = Explained { likelihood: f64::NEG_INFINITY, chi_square: f64::INFINITY };

/// What the part of the path that matters says: the index of its first sample, and a word of each.
fn explain(nodes: &[Node], problem: &Problem, glances: Vec<Look>) -> (usize, Vec<Explained>) {
    let ends = settled(nodes, problem, glances);
    let pieces = ends.len() - 1;
    let best = best_of(&ends);
    // Beside the path all chances draw nearer to each other.
    let ratio = ratio_of(&ends);
    let has_chance = |piece: &usize| best_of(&ends[*piece..piece + 2]) >= best + ratio * NO_CHANCE;
    let Some(first) = (0..pieces).find(has_chance) else { return (0, vec![PASSED_OVER; 2]) };
    let last = (0..pieces).rev().find(has_chance).unwrap_or(first);
    let begin = first * NODES_PER_PIECE;
    let mut explained = vec![PASSED_OVER; (last - first + 1) * NODES_PER_PIECE + 1];
    for piece in (first..=last).filter(has_chance) {
        let own = piece * NODES_PER_PIECE;
        let ends = [&ends[piece], &ends[piece + 1]];
        let states: [[f64; 5]; LANES] = std::array::from_fn(|k| between(ends, (k + 1) as f64 / 5.0));
        let inner = problem.look(std::array::from_fn(|k| &nodes[own + (k + 1) * STRIDE]), states.each_ref());
        let six = [ends[0], &inner[0], &inner[1], &inner[2], &inner[3], ends[1]];
        let words = &mut explained[own - begin..=own - begin + NODES_PER_PIECE];
        let has_no_kink = is_smooth(&six) && meet_the_same_bounds(&six, problem);
        let is_far = || six.iter().all(|look| look.explained.likelihood < best + ratio * SMALL_CHANCE);
        if has_no_kink || is_far() {
            let six = six.map(|look| look.explained);
            interpolate(&six, words);
            if !has_no_kink {
                hold_between(&six, words);
            }
        } else {
            look_closely(&nodes[own..], problem, &six, words);
        }
    }
    (begin, explained)
}

/// Whether a polynomial follows the logarithm of the likelihood through six even samples: where an
/// unknown meets its bound, or another channel becomes the lightest, it has a kink.
fn is_smooth(six: &[&Look; 6]) -> bool {
    const FIFTH: [f64; 6] = [-1.0, 5.0, -10.0, 10.0, -5.0, 1.0];
    let difference: f64 =
        six.iter().zip(FIFTH).map(|(look, weight)| weight * look.explained.likelihood).sum();
    difference.abs() < SMOOTH
}

/// Whether the same unknowns lie at their bounds at all six samples.
fn meet_the_same_bounds(six: &[&Look; 6], problem: &Problem) -> bool {
    let first = problem.bounds_met(&six[0].state);
    six[1..].iter().all(|look| problem.bounds_met(&look.state) == first)
}

/// Looks at each sample of a piece, from where the unknowns lie at the two next to it of six.
fn look_closely(nodes: &[Node], problem: &Problem, six: &[&Look; 6], words: &mut [Explained]) {
    for (word, look) in words.iter_mut().step_by(STRIDE).zip(six) {
        *word = look.explained;
    }
    let between_two: [usize; 3 * LANES] =
        std::array::from_fn(|k| (k / 2 * STRIDE + k % 2 + 1).min(NODES_PER_PIECE - 1));
    for four in between_two.as_chunks::<LANES>().0 {
        let states = four
            .map(|k| between([six[k / STRIDE], six[k / STRIDE + 1]], (k % STRIDE) as f64 / STRIDE as f64));
        let looks = problem.look(four.map(|k| &nodes[k]), states.each_ref());
        four.iter().zip(looks).for_each(|(&k, look)| words[k] = look.explained);
    }
}

/// Where the unknowns about lie at a share of the way between two samples.
fn between(ends: [&Look; 2], share: f64) -> [f64; 5] {
    std::array::from_fn(|k| ends[0].state[k] + share * (ends[1].state[k] - ends[0].state[k]))
}

fn ratio_of(looks: &[Look]) -> f64 {
    birge_ratio(looks.iter().map(|look| look.explained.chi_square).fold(f64::INFINITY, f64::min))
}

fn best_of(looks: &[Look]) -> f64 {
    looks.iter().map(|look| look.explained.likelihood).fold(f64::NEG_INFINITY, f64::max)
}

/// The sample at which a piece begins; the path's last beyond all pieces.
fn end_of_piece(nodes: &[Node], piece: usize) -> &Node {
    &nodes[(piece * NODES_PER_PIECE).min(nodes.len() - 1)]
}

/// Glances of one or several problems at the samples at which one smooth piece of the path meets the next.
fn glances<const N: usize>(
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

/// Looks again at all ends that are worth it, until their unknowns have settled.
fn settled(nodes: &[Node], problem: &Problem, mut ends: Vec<Look>) -> Vec<Look> {
    let chance = best_of(&ends) + ratio_of(&ends) * NO_GLANCE;
    let is_worth = |look: &Look| look.explained.likelihood >= chance;
    let Some(first) = ends.iter().position(is_worth) else { return ends };
    let behind = ends.iter().rposition(is_worth).map_or(first, |last| last + 1);
    for begin in (first..behind).step_by(LANES) {
        let four: [usize; LANES] = std::array::from_fn(|k| (begin + k).min(behind - 1));
        let looks =
            problem.look(four.map(|k| end_of_piece(nodes, k)), four.map(|k| ends[k].state).each_ref());
        four.iter().zip(looks).for_each(|(&k, look)| ends[k] = look);
    }
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

/// Keeps what lies between two of six samples between what they say: over a kink, and where the likelihood
/// falls steeply, the polynomial swings far beyond.
fn hold_between(six: &[Explained; 6], piece: &mut [Explained]) {
    for (k, word) in piece.iter_mut().enumerate() {
        let own = (k / STRIDE).min(six.len() - 2);
        let (a, b) = (six[own].likelihood, six[own + 1].likelihood);
        word.likelihood = word.likelihood.clamp(a.min(b), a.max(b));
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
