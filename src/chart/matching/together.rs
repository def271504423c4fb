//! The match of several samples that one veil may lie on: the pads of a strip.
//!
//! Steam on a strip, or a window mirrored all over it, lies on all its pads alike. One pad alone seldom
//! tells a veil from a paler colour of its own; what all of them say of one and the same veil together
//! does. So each veil of a grid is weighed by how well all pads are explained behind it, beside that there
//! is none but the usual or one on each pad for itself, and a pad's value is the mean over all of these by
//! what the other pads leave of them.

use super::quadrature::{Part, glances};
use super::veiled::bounded_by;
use super::{Circumstances, Match, birge_ratio, conclude, log_sum, weighed_together, widened};
use crate::chart::likelihood::Problem;
use crate::chart::optics::Priors;
use crate::chart::path::Path;
use crate::sample::Veil;
use crate::terms::space::Relative;

/// Light of the common veils that are tried, share of paper white.
const VEILS: [f64; 7] = [0.04, 0.08, 0.12, 0.17, 0.22, 0.28, 0.34];
/// Half of what lies between two of them.
const VEIL_SD: f64 = 0.025;
/// Light of that which hides a part of the sample, share of paper white: steam. A guess, no source.
const STEAM: f64 = 0.8;
/// How often one veil lies on all samples, before they are looked at: a guess, no source.
const ON_ALL: f64 = 0.02;
/// How often a sample's colour says nothing of a veil: it is spoilt, or its path is wrong. So none can rule
/// out alone what all others say. A guess, no source.
const MISLEADING: f64 = 1e-3;
/// What is less likely by this, natural logarithm, adds nothing to a value.
const NEGLIGIBLE: f64 = -12.0;

/// One of several samples in a photo.
#[derive(Clone, Copy)]
pub struct Asked<'a> {
    /// The path on which its colour lies.
    pub path: &'a Path,
    /// Its colour in the reference view.
    pub colour: Relative,
    /// What the photo tells besides.
    pub circumstances: Circumstances,
    /// What may lie on it alone.
    pub veil: Option<Veil>,
}

/// Matches samples on all of which one veil may lie, or on each one of its own.
pub fn match_together(asked: &[Asked]) -> Vec<Match> {
    let common: Vec<Common> = if asked.len() > 1 { Common::all().collect() } else { Vec::new() };
    let heard: Vec<Heard> = asked.iter().map(|asked| Heard::of(asked, &common)).collect();
    let said: Vec<Vec<f64>> = heard.iter().map(|heard| heard.of_alternatives(1 + common.len())).collect();
    let left_to = |own: usize| {
        let others = said.iter().enumerate().filter(|(sample, _)| *sample != own);
        let add = |sum: Vec<f64>, said: &[f64]| sum.iter().zip(said).map(|(a, b)| a + b).collect();
        others.fold(priors(common.len()), |sum, (_, said)| add(sum, said))
    };
    heard.iter().enumerate().map(|(own, heard)| heard.conclude(&left_to(own))).collect()
}

/// Logarithm of how likely it is beforehand that each sample is as it is for itself, and that each of so
/// many common veils lies on all.
fn priors(common: usize) -> Vec<f64> {
    let of_each = (ON_ALL / common as f64).ln();
    [(1.0 - ON_ALL).ln()].into_iter().chain(std::iter::repeat_n(of_each, common)).collect()
}

/// A veil that all samples may lie behind.
#[derive(Clone, Copy)]
struct Common {
    /// Light that it adds.
    light: f64,
    /// Share of the samples' own light that it lets through.
    passed: f64,
}

impl Common {
    /// All that are tried: a mirrored window takes nothing away, steam does.
    fn all() -> impl Iterator<Item = Self> {
        VEILS.into_iter().flat_map(|light| [1.0, 1.0 - light / STEAM].map(|passed| Self { light, passed }))
    }

    /// A sample behind it: with as much more light as it takes away, what is left is a veil alone.
    fn before(self, asked: &Asked, usual: Priors) -> Problem {
        let light = asked.colour.map(|light| light / self.passed);
        let veil_mean = usual.veil_mean + self.light / self.passed;
        let veil_sd = usual.veil_sd.hypot(VEIL_SD) / self.passed;
        Problem::new(light, &asked.circumstances, Priors { veil_mean, veil_sd, ..usual })
    }

    /// Logarithm of how much narrower colours lie by it, three channels together.
    fn narrowed(self) -> f64 {
        -3.0 * self.passed.ln()
    }
}

/// One explanation of a sample.
struct Explanation {
    /// Which of the alternatives for all samples it belongs to: the first, if it is for this one alone.
    alternative: usize,
    /// Logarithm of its prior within that.
    prior: f64,
    part: Part,
    /// Logarithm of how likely it makes the colour.
    evidence: f64,
}

impl Explanation {
    fn least_chi_square(&self) -> f64 {
        self.part.least_chi_square()
    }
}

/// What one sample says of everything that may lie on it; the usual veil comes first.
struct Heard<'a> {
    path: &'a Path,
    explanations: Vec<Explanation>,
}

impl<'a> Heard<'a> {
    fn of(asked: &Asked<'a>, common: &[Common]) -> Self {
        let (path, usual) = (asked.path, asked.path.priors);
        let own = asked.veil.and_then(|veil| bounded_by(usual, veil));
        let [plainly, veiled] = own.map_or([1.0, 0.0], |(_, chances)| chances);
        let problem = |priors| Problem::new(asked.colour, &asked.circumstances, priors);
        let alone =
            [Some((problem(usual), 0, plainly.ln())), own.map(|(own, _)| (problem(own), 0, veiled.ln()))];
        let behind = common.iter().enumerate();
        let behind = behind.map(|(k, common)| (common.before(asked, usual), k + 1, common.narrowed()));
        let explain = |(problem, alternative, prior): (Problem, usize, f64)| {
            let [seen] = glances(&path.nodes, |four| [problem.glance(four)]);
            let part = Part::of(&path.nodes, &problem, seen);
            Explanation { alternative, prior, part, evidence: f64::NEG_INFINITY }
        };
        let explanations = alone.into_iter().flatten().chain(behind).map(explain).collect();
        Self { path, explanations }.weighed()
    }

    /// Which explanation is the likelier is asked with all variances as large as the best of them needs.
    fn weighed(mut self) -> Self {
        let least = self.explanations.iter().map(Explanation::least_chi_square).fold(f64::INFINITY, f64::min);
        for explanation in &mut self.explanations {
            explanation.evidence = log_sum(widened(&explanation.part, birge_ratio(least)));
        }
        self
    }

    /// Logarithm of how likely each alternative makes the colour, as far as the sample can be trusted.
    fn of_alternatives(&self, count: usize) -> Vec<f64> {
        let said = |alternative: usize| {
            let own = self.explanations.iter().filter(|explanation| explanation.alternative == alternative);
            log_sum(own.map(|explanation| explanation.prior + explanation.evidence).collect())
        };
        let said: Vec<f64> = (0..count).map(said).collect();
        let most = said.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !most.is_finite() {
            return vec![0.0; count];
        }
        said.into_iter().map(|said| ((said - most).exp() + MISLEADING).ln()).collect()
    }

    /// What the sample says with what the others leave of each alternative.
    fn conclude(&self, left: &[f64]) -> Match {
        let weights = self.explanations.iter().map(|own| own.prior + left[own.alternative]);
        let weighed: Vec<(f64, &Explanation)> = weights.zip(&self.explanations).collect();
        let all = log_sum(weighed.iter().map(|(weight, own)| weight + own.evidence).collect());
        let usual = weighed[0].0 + weighed[0].1.evidence - all;
        let veiled = if all.is_finite() { 1.0 - usual.exp() } else { 0.0 };
        let counts = |(weight, own): &&(f64, &Explanation)| weight + own.evidence >= all + NEGLIGIBLE;
        let counting: Vec<(&Part, f64)> =
            weighed.iter().filter(counts).map(|(weight, own)| (&own.part, *weight)).collect();
        // How well the colour fits is still asked of the usual explanation.
        let chi_square = self.explanations[0].least_chi_square();
        let (first, likelihoods) = weighed_together(&counting, birge_ratio(chi_square));
        let nodes = &self.path.nodes[first..first + likelihoods.len()];
        Match { veiled, ..conclude(self.path, nodes, chi_square, likelihoods) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::matching::{Outcome, match_behind_veil, typical_light};
    use crate::chart::{Chart, shipped};
    use crate::sample::BareStrip;

    const ORDINARY: Circumstances = Circumstances {
        residual: 0.01,
        hue_shift: 0.02,
        lamp: (0.0, 0.2),
        mixed: [0.0; 3],
        unevenness: 0.01,
    };
    /// Where the bare strip tells of no veil.
    const EVEN: BareStrip = BareStrip { beside: 1.0, whole: 1.04 };

    fn chart() -> Chart {
        shipped::find("rendered-strip").unwrap().unwrap()
    }

    fn paths(chart: &Chart) -> Vec<&Path> {
        chart.scales.iter().map(|scale| &scale.ruler(chart.form).unwrap().path).collect()
    }

    /// Pads in the middle of their scales, whose light something changes.
    fn pads<'a>(paths: &[&'a Path], change: impl Fn(usize, f64) -> f64) -> Vec<Asked<'a>> {
        let pad = |(pad, path): (usize, &&'a Path)| {
            let colour = typical_light(path, middle(path)).map(|light| change(pad, light));
            let veil = Some(Veil::over_pad(colour, EVEN));
            Asked { path, colour, circumstances: ORDINARY, veil }
        };
        paths.iter().enumerate().map(pad).collect()
    }

    fn middle(path: &Path) -> f64 {
        path.levels[path.levels.len() / 2]
    }

    fn interval(matched: &Match) -> (f64, f64) {
        match matched.outcome {
            Outcome::Within { low, high, .. } => (low, high),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn steam_over_all_pads_is_told_and_each_interval_holds_the_value() {
        let chart = chart();
        let paths = paths(&chart);
        for share in [0.2, 0.3] {
            let asked = pads(&paths, |_, light| (1.0 - share) * light + share * STEAM);
            for (matched, path) in match_together(&asked).iter().zip(&paths) {
                let (low, high) = interval(matched);
                assert!(matched.is_veiled() && (low..=high).contains(&middle(path)), "{share} {matched:?}");
            }
        }
    }

    #[test]
    fn pads_without_a_veil_read_as_each_for_itself() {
        let chart = chart();
        let paths = paths(&chart);
        let asked = pads(&paths, |_, light| light);
        for (together, asked) in match_together(&asked).iter().zip(&asked) {
            let alone =
                match_behind_veil(asked.path, asked.colour, &asked.circumstances, asked.veil.unwrap());
            let ((low, high), (alone_low, alone_high)) = (interval(together), interval(&alone));
            let tolerance = 0.03 * (alone_high - alone_low);
            assert!(together.veiled < 0.3, "{together:?}");
            assert!((low - alone_low).abs() < tolerance && (high - alone_high).abs() < tolerance);
        }
    }

    #[test]
    fn one_pad_alone_makes_no_veil_over_the_others() {
        let chart = chart();
        let paths = paths(&chart);
        for spoilt in 0..paths.len() {
            let asked = pads(&paths, |pad, light| if pad == spoilt { 0.6 * light + 0.3 } else { light });
            let matched = match_together(&asked);
            let others = matched.iter().enumerate().filter(|(pad, _)| *pad != spoilt);
            others.for_each(|(pad, matched)| assert!(!matched.is_veiled(), "{spoilt} {pad} {matched:?}"));
        }
    }

    #[test]
    fn one_sample_is_matched_as_for_itself() {
        let chart = chart();
        let asked = pads(&paths(&chart), |_, light| light);
        for asked in asked {
            let together = match_together(&[asked])[0];
            let alone =
                match_behind_veil(asked.path, asked.colour, &asked.circumstances, asked.veil.unwrap());
            let ((low, high), (alone_low, alone_high)) = (interval(&together), interval(&alone));
            assert!((low - alone_low).abs() < 1e-3 * alone.sd && (high - alone_high).abs() < 1e-3 * alone.sd);
        }
    }

    #[test]
    fn black_and_blinding_samples_leave_finite_numbers_to_the_others() {
        let chart = chart();
        let paths = paths(&chart);
        for strange in [1e-4, 30.0] {
            let asked = pads(&paths, |pad, light| if pad == 0 { strange } else { light });
            for matched in &match_together(&asked)[1..] {
                let (low, high) = interval(matched);
                assert!(low.is_finite() && high.is_finite() && matched.sd.is_finite());
            }
        }
    }
}
