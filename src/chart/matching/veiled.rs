//! The match of a sample that a veil may lie on: steam, or a window mirrored all over it.

use super::quadrature::{Part, glances};
use super::{Circumstances, Match, birge_ratio, conclude, log_sum, match_colour, weighed_together, widened};
use crate::chart::likelihood::Problem;
use crate::chart::optics::Priors;
use crate::chart::path::Path;
use crate::sample::Veil;
use crate::terms::space::Relative;

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

impl Match {
    /// Whether a veil lies on the sample, by all appearances.
    pub fn is_veiled(&self) -> bool {
        self.veiled > SURELY_VEILED
    }
}

/// Matches the colour of a sample that a veil within these bounds may lie on. Steam, or a window mirrored
/// all over the glass, makes a sample paler than the usual veil can, and often nothing in its colour tells.
/// So the more veil its surroundings allow, the more is thought possible beside the usual one, and both
/// explanations share the probability; the more veil they show, the less is left to the usual one.
pub fn match_behind_veil(path: &Path, colour: Relative, circumstances: &Circumstances, veil: Veil) -> Match {
    let Some((veiled, chances)) = bounded_by(path.priors, veil) else {
        return match_colour(path, colour, circumstances);
    };
    let usual = Problem::new(colour, circumstances, path.priors);
    let veiled = Problem::new(colour, circumstances, veiled);
    let [seen_usual, seen_veiled] = glances(&path.nodes, |four| usual.glance_with(&veiled, four));
    let parts = [Part::of(&path.nodes, &usual, seen_usual), Part::of(&path.nodes, &veiled, seen_veiled)];
    let veiled = probability_of_second(&parts, chances);
    // How well the colour fits is asked of the usual explanation.
    let chi_square = parts[0].least_chi_square();
    let explanations = [(&parts[0], chances[0].ln()), (&parts[1], chances[1].ln())];
    let (first, likelihoods) = weighed_together(&explanations, birge_ratio(chi_square));
    let nodes = &path.nodes[first..first + likelihoods.len()];
    Match { veiled, ..conclude(path, nodes, chi_square, likelihoods) }
}

/// Probability of the second of two explanations, with all variances as large as the better of them asks for.
fn probability_of_second(parts: &[Part; 2], chances: [f64; 2]) -> f64 {
    let chi_square = parts.each_ref().map(Part::least_chi_square);
    let ratio = birge_ratio(chi_square[0].min(chi_square[1]));
    let [first, second] = parts.each_ref().map(|part| log_sum(widened(part, ratio)));
    if second == f64::NEG_INFINITY {
        0.0
    } else {
        chances[1] / (chances[1] + chances[0] * (first - second).exp())
    }
}

/// What is known beforehand of a photo whose sample a veil lies on, and how probable the usual veil and such
/// a one are; `None` if the bounds leave no room for more than the usual one.
pub(super) fn bounded_by(usual: Priors, veil: Veil) -> Option<(Priors, [f64; 2])> {
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
