//! How well samples of a path explain a colour: four samples side by side.
//!
//! At each sample the photo's unknowns (path factor, shade, veil, lamp, mixed light; see
//! [`super::optics`]) are set to their most probable values (Gauss-Newton), and integrated out by
//! Laplace's approximation.
//!
//! Four numbers fill one register of the processors that have such (AVX), two of all others; which it is
//! shows when the program runs. What is done to each number is the same everywhere, to the last bit: no
//! product is fused with a sum. All that runs in the registers must be inlined into the one place where the
//! processor is asked, or it would be compiled for the least of them.

mod four;
mod model;
mod row;
mod step;
mod symmetric;

use std::f64::consts::LN_10;

use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch, f64x4};
use nalgebra::Vector3;

use super::matching::Circumstances;
use super::metamerism::Metamerism;
use super::optics::{self, LEAST_NOISE, Priors};
use super::path::Node;
use crate::math::exp::ln;
use crate::terms::space::Relative;
pub(super) use four::beside;
use four::{Four, Unknowns};
use model::Model;
use row::Row;
use step::{Sight, Step, bounded};

/// Samples that are looked at side by side.
pub(super) const LANES: usize = 4;

/// Share of the correction's residual that enters a colour's noise.
const RESIDUAL_SHARE: f64 = 0.5;
/// Most Gauss-Newton steps of a look.
const MOST_STEPS: usize = 12;
/// Unknowns that move by less than this share of their priors' widths are settled.
const SETTLED: f64 = 1e-3;
/// The same where what the last two steps saw tells what is seen from where the next one leads.
const NEARLY_SETTLED: f64 = 1.5e-2;
/// Place of the veil among the unknowns.
const VEIL: usize = 2;
/// Bounds of the path factor and of the shade, beyond which the model means nothing.
const PATH_BOUNDS: (f64, f64) = (0.6, 1.6);
const SHADE_BOUNDS: (f64, f64) = (-0.6, 0.8);

/// What a sample says at which nothing finite can be reckoned: a chart from elsewhere may hold colours and a
/// lamp, each of them possible, that together leave no light or far too much. It explains no colour.
const NOTHING: Explained = Explained { likelihood: -1e9, chi_square: 1e9 };
/// A sum of squares comes out below zero by no more than this in rounding.
const ROUNDING: f64 = 1e-6;

/// What one sample of the path says of a colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Explained {
    /// Natural logarithm of its likelihood, up to a constant.
    pub likelihood: f64,
    /// Sum of squares at the best state of the unknowns.
    pub chi_square: f64,
}

/// The unknowns at four samples, in the order path factor, shade, veil, lamp, mixed light.
pub(super) type State = [[f64; LANES]; 5];

/// What one sample says, and where its photo's unknowns then lie.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    pub explained: Explained,
    pub state: [f64; 5],
}

/// A colour with its noise and the priors of its photo. The five unknowns stand in the order path
/// factor, shade, veil, lamp, mixed light.
#[derive(Clone, Copy)]
pub(super) struct Problem {
    /// What the processor is capable of.
    level: Level,
    light: [f64; 3],
    /// Variance of each channel.
    noise: [f64; 3],
    /// Its shares of absorbance are of the natural logarithm.
    metamerism: Metamerism,
    /// The brightest channel.
    brightest: f64,
    /// Change of the decadic exponent with mixed light.
    by_mix: [f64; 3],
    /// What each two channels' exponents vary alike with shade and mixed light: xx, xy, xz, yy, yz, zz.
    alike: [f64; 6],
    prior: [f64; 5],
    variance: [f64; 5],
    sd: [f64; 5],
    inverse_sd: [f64; 5],
    /// Absorbance of the colour at the usual veil.
    own: [f64; 3],
    most_veil: f64,
}

impl Problem {
    pub(super) fn new(colour: Relative, circumstances: &Circumstances, priors: Priors) -> Self {
        let light = Vector3::from(colour);
        let relative =
            LEAST_NOISE.hypot(RESIDUAL_SHARE * circumstances.residual).hypot(circumstances.unevenness);
        let noise = optics::noise(&light, relative);
        let (lamp, lamp_sd) = circumstances.lamp;
        let Metamerism { own, wing, leak } = Metamerism::of(circumstances);
        let sd = [priors.path_sd, priors.shade_sd, priors.veil_sd, lamp_sd, 1.0];
        let by_mix @ [x, y, z] = circumstances.mixed.map(|mixed| mixed / -LN_10);
        let shade = priors.shade_sd * priors.shade_sd;
        Self {
            level: Level::new(),
            light: colour,
            noise: noise.component_mul(&noise).add_scalar(priors.veil_colour_sd.powi(2)).into(),
            metamerism: Metamerism { own: own * LN_10, wing: wing * LN_10, leak },
            brightest: light.max(),
            by_mix,
            alike: [x * x, x * y, x * z, y * y, y * z, z * z].map(|mixed| mixed + shade),
            prior: [1.0, 0.0, priors.veil_mean, lamp, 0.0],
            variance: sd.map(|sd| sd * sd),
            sd,
            inverse_sd: sd.map(f64::recip),
            own: colour.map(|value| -(value - priors.veil_mean).max(0.01).log10()),
            most_veil: 0.9 * light.min(),
        }
    }

    /// Looks at four samples without knowing where the unknowns lie: one step from the priors, and what
    /// it promises.
    pub(super) fn glance(&self, nodes: [&Node; LANES]) -> [Look; LANES] {
        dispatch!(self.level, simd => {
            let nodes = Four::of(simd, nodes);
            let start = self.start(&nodes);
            self.promise(&Model::new(self, &nodes, &start), &start)
        })
    }

    /// The same for this problem and one of the same colour whose veil and shade have other priors: what the
    /// path shows is computed once for both.
    pub(super) fn glance_with(&self, veiled: &Self, nodes: [&Node; LANES]) -> [[Look; LANES]; 2] {
        dispatch!(self.level, simd => {
            let nodes = Four::of(simd, nodes);
            let start = self.start(&nodes);
            let model = Model::new(self, &nodes, &start);
            let usual = self.promise(&model, &start);
            let more = veiled.prior[VEIL] - self.prior[VEIL];
            let mut behind = start;
            behind.0[VEIL] += more;
            [usual, veiled.promise(&model.behind(veiled, more), &behind)]
        })
    }

    /// Looks at four samples from where the unknowns about lie until they have settled.
    pub(super) fn look(&self, nodes: [&Node; LANES], about: State) -> [Look; LANES] {
        dispatch!(self.level, simd => self.settle(&Four::of(simd, nodes), Row::lifted(simd, about)))
    }

    #[inline(always)]
    fn promise<S: Simd>(&self, model: &Model<S>, start: &Unknowns<S>) -> [Look; LANES] {
        let (next, sight) = self.step(model, start);
        weigh(&sight, &self.within_bounds(&next))
    }

    #[inline(always)]
    fn settle<S: Simd>(&self, nodes: &Four<S>, about: Unknowns<S>) -> [Look; LANES] {
        let mut state = about;
        let mut last: Option<Step<S>> = None;
        for _ in 0..MOST_STEPS {
            let model = Model::new(self, nodes, &state);
            let (free, sight) = self.step(&model, &state);
            let next = self.within_bounds(&free);
            let step = Step { from: state, widths: self.in_widths(&state, &next), sight };
            let ahead = match &last {
                Some(last) => self.ahead(&step, &next, last),
                None => next,
            };
            let moved = step.widths.largest();
            let nearly = if last.is_some() { NEARLY_SETTLED } else { SETTLED };
            if moved < nearly && self.is_held_by_none(&free, &next) {
                let sight = match &last {
                    Some(last) => self.sight_from(&ahead, &step, last),
                    None => sight,
                };
                return weigh(&sight, &next);
            }
            (state, last) = (ahead, Some(step));
            if moved < SETTLED {
                break;
            }
        }
        let model = Model::new(self, nodes, &state);
        let determinant = model.covariance.determinant(&model.covariance.cofactors());
        weigh(&Sight { chi_square: model.misfit() + self.pulls(&state), determinant }, &state)
    }

    /// Whether no unknown is held at another bound than the veil's: there, the step's own sum of squares is
    /// another one.
    #[inline(always)]
    fn is_held_by_none<S: Simd>(&self, free: &Unknowns<S>, next: &Unknowns<S>) -> bool {
        self.in_widths(free, next).largest() < SETTLED
    }

    /// Priors, with the shade that brings the path nearest.
    #[inline(always)]
    fn start<S: Simd>(&self, nodes: &Four<S>) -> Unknowns<S> {
        let simd = nodes.lightest.simd;
        let Row([r, g, b]) = Row::splat(simd, self.own) - (nodes.absorbance + nodes.by_lamp * self.prior[3]);
        let middle = r.min(g).max(r.max(g).min(b));
        let mut state = Row::splat(simd, self.prior);
        state.0[1] = bounded(middle, (-0.5, 0.5));
        state
    }

    /// Which unknowns lie at a bound.
    pub(super) fn bounds_met(&self, state: &[f64; 5]) -> [bool; 3] {
        let bounds = [PATH_BOUNDS, SHADE_BOUNDS, (0.0, self.most_veil)];
        std::array::from_fn(|k| state[k] <= bounds[k].0 || state[k] >= bounds[k].1)
    }
}

/// What four samples say.
#[inline(always)]
fn weigh<S: Simd>(sight: &Sight<S>, state: &Unknowns<S>) -> [Look; LANES] {
    let (simd, chi_square) = (sight.chi_square.simd, sight.chi_square);
    let likelihood = (chi_square + ln(sight.determinant)) * -0.5;
    let of = |value: f64| f64x4::splat(simd, value);
    let is_sound = likelihood.abs().simd_le(of(f64::MAX)) & chi_square.simd_gt(of(-ROUNDING));
    let likelihood: [f64; LANES] = is_sound.select(likelihood, of(NOTHING.likelihood)).into();
    let chi_square: [f64; LANES] = is_sound.select(chi_square.max(of(0.0)), of(NOTHING.chi_square)).into();
    let state = state.laid_down();
    std::array::from_fn(|lane| Look {
        explained: Explained { likelihood: likelihood[lane], chi_square: chi_square[lane] },
        state: state.map(|values| values[lane]),
    })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::chart::Chart;

    /// All that this processor is capable of, and what every one is.
    fn levels() -> Vec<Level> {
        let mut levels = vec![Level::baseline(), Level::new()];
        #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
        levels.extend(Level::new().as_avx2().map(Level::Avx2));
        levels
    }

    fn bits(looks: [Look; LANES]) -> [[u64; 7]; LANES] {
        looks.map(|Look { explained: Explained { likelihood, chi_square }, state: [a, b, c, d, e] }| {
            [likelihood, chi_square, a, b, c, d, e].map(f64::to_bits)
        })
    }

    #[test]
    fn every_processor_sees_the_same_to_the_last_bit() {
        let chart = format!("{}/calibration/rendered-nitrate.json", env!("CARGO_MANIFEST_DIR"));
        let chart = Chart::load(Path::new(&chart)).unwrap();
        let path = &chart.scales[0].ruler(chart.form).unwrap().path;
        // The middle one lies beside the path, the last one meets the bound of the veil.
        for colour in [[0.8, 0.7, 0.3], [0.4, 0.6, 0.5], [0.95, 0.5, 0.09]] {
            let circumstances = Circumstances {
                residual: 0.05,
                hue_shift: 0.03,
                lamp: (0.4, 0.3),
                mixed: [0.03, -0.02, 0.05],
                unevenness: 0.01,
            };
            let problem = Problem::new(colour, &circumstances, path.priors);
            for four in path.nodes.as_chunks().0 {
                let four: [&Node; LANES] = four.each_ref();
                let [(glance, look), others @ ..] = &levels()
                    .into_iter()
                    .map(|level| {
                        let problem = Problem { level, ..problem };
                        let glance = problem.glance(four);
                        (
                            bits(glance),
                            bits(problem.look(four, beside(glance.each_ref().map(|look| &look.state)))),
                        )
                    })
                    .collect::<Vec<_>>()[..]
                else {
                    unreachable!("there are two levels at least")
                };
                assert!(others.iter().all(|(g, l)| g == glance && l == look), "{colour:?}");
            }
        }
    }
}
