//! How well samples of a path explain a colour: four samples at a time, in the vector registers.
//!
//! At each sample the photo's unknowns (path factor, shade, veil, lamp, mixed light; see
//! [`super::optics`]) are set to their most probable values (Gauss-Newton), and integrated out by
//! Laplace's approximation.

mod four;
mod symmetric;

use std::f64::consts::LN_10;

use nalgebra::Vector3;
use wide::f64x4;

use super::matching::Circumstances;
use super::metamerism::Metamerism;
use super::optics::{self, LEAST_NOISE, Priors};
use super::path::Node;
use crate::math::exp::exp;
use crate::terms::space::Relative;
use four::Four;
pub(super) use four::{State, beside, blended};
use symmetric::Symmetric;

/// Samples that are looked at side by side.
pub(super) const LANES: usize = 4;

/// Share of the correction's residual that enters a colour's noise.
const RESIDUAL_SHARE: f64 = 0.5;
/// Most Gauss-Newton steps of a look.
const MOST_STEPS: usize = 12;
/// Unknowns that move by less than this share of their priors' widths are settled.
const SETTLED: f64 = 5e-4;
/// The same where what the last two steps saw tells what is seen from where the next one leads.
const NEARLY_SETTLED: f64 = 5e-3;
/// Place of the veil among the unknowns.
const VEIL: usize = 2;
/// Bounds of the path factor and of the shade, beyond which the model means nothing.
const PATH_BOUNDS: (f64, f64) = (0.6, 1.6);
const SHADE_BOUNDS: (f64, f64) = (-0.6, 0.8);

/// What one sample of the path says of a colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Explained {
    /// Natural logarithm of its likelihood, up to a constant.
    pub likelihood: f64,
    /// Sum of squares at the best state of the unknowns.
    pub chi_square: f64,
}

/// What one sample says, and where its photo's unknowns then lie.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    pub explained: Explained,
    pub state: [f64; 5],
}

/// A colour with its noise and the priors of its photo. The five unknowns stand in the order path
/// factor, shade, veil, lamp, mixed light.
pub(super) struct Problem {
    light: [f64; 3],
    /// Variance of each channel.
    noise: [f64; 3],
    /// Its shares of absorbance are of the natural logarithm.
    metamerism: Metamerism,
    /// The brightest channel.
    brightest: f64,
    /// Change of the decadic exponent with mixed light.
    by_mix: [f64; 3],
    prior: [f64; 5],
    variance: [f64; 5],
    inverse_sd: [f64; 5],
    /// Absorbance of the colour at the usual veil.
    own: [f64; 3],
    most_veil: f64,
}

/// The model at four samples and one state of the unknowns each. A channel's light changes with the
/// exponent of what passes, and that with each unknown but the veil.
struct Model {
    /// Observed less predicted light.
    gap: [f64x4; 3],
    /// Change of the predicted light with the decadic exponent.
    slope: [f64x4; 3],
    /// Change of the exponent with the path factor and the lamp; with the shade it is one.
    by_path: [f64x4; 3],
    by_lamp: [f64x4; 3],
    /// Variance of each channel.
    noise: [f64x4; 3],
    covariance: Symmetric,
}

/// What is seen from one state of the unknowns.
#[derive(Clone, Copy)]
struct Sight {
    /// Sum of squares where a step from there leads.
    chi_square: f64x4,
    /// Determinant of the light's covariance.
    determinant: f64x4,
}

/// A step towards where the unknowns settle.
struct Step {
    from: State,
    /// How far it leads, in standard deviations of the priors.
    widths: State,
    sight: Sight,
}

impl Sight {
    /// What would be seen from a state that lies beyond this one, by a share of the way from the last.
    #[inline]
    fn beyond(&self, last: &Self, share: f64x4) -> Self {
        Self {
            chi_square: self.chi_square + share * (self.chi_square - last.chi_square),
            determinant: self.determinant * (1.0 + share * (self.determinant / last.determinant - 1.0)),
        }
    }
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
        Self {
            light: colour,
            noise: noise.component_mul(&noise).add_scalar(priors.veil_colour_sd.powi(2)).into(),
            metamerism: Metamerism { own: own * LN_10, wing: wing * LN_10, leak },
            brightest: light.max(),
            by_mix: circumstances.mixed.map(|mixed| mixed / -LN_10),
            prior: [1.0, 0.0, priors.veil_mean, lamp, 0.0],
            variance: sd.map(|sd| sd * sd),
            inverse_sd: sd.map(f64::recip),
            own: colour.map(|value| -(value - priors.veil_mean).max(0.01).log10()),
            most_veil: 0.9 * light.min(),
        }
    }

    /// Looks at four samples without knowing where the unknowns lie: one step from the priors, and what
    /// it promises.
    pub(super) fn glance(&self, nodes: [&Node; LANES]) -> [Look; LANES] {
        let nodes = Four::of(nodes);
        let start = self.start(&nodes);
        self.promise(&self.model(&nodes, &start), &start)
    }

    /// The same for this problem and one of the same colour whose veil and shade have other priors: what the
    /// path shows is computed once for both.
    pub(super) fn glance_with(&self, veiled: &Self, nodes: [&Node; LANES]) -> [[Look; LANES]; 2] {
        let nodes = Four::of(nodes);
        let start = self.start(&nodes);
        let usual = self.model(&nodes, &start);
        let covariance = veiled.covariance(&usual.slope, &usual.by_path, &usual.by_lamp, &usual.noise);
        let more = veiled.prior[VEIL] - self.prior[VEIL];
        let gap = usual.gap.map(|gap| gap - more);
        let mut behind = start;
        behind[VEIL] += more;
        [self.promise(&usual, &start), veiled.promise(&Model { covariance, gap, ..usual }, &behind)]
    }

    fn promise(&self, model: &Model, start: &State) -> [Look; LANES] {
        let (next, sight) = self.step(model, start);
        Self::weigh(&sight, &self.within_bounds(&next))
    }

    /// Looks at four samples from where the unknowns about lie until they have settled.
    pub(super) fn look(&self, nodes: [&Node; LANES], about: State) -> [Look; LANES] {
        let nodes = Four::of(nodes);
        let mut state = about;
        let mut last: Option<Step> = None;
        for _ in 0..MOST_STEPS {
            let model = self.model(&nodes, &state);
            let (free, sight) = self.step(&model, &state);
            let next = self.within_bounds(&free);
            let step = Step { from: state, widths: self.in_widths(&state, &next), sight };
            let ahead = last.as_ref().map_or(next, |last| self.ahead(&step, &next, last));
            let moved = largest(&step.widths);
            let nearly = if last.is_some() { NEARLY_SETTLED } else { SETTLED };
            if moved < nearly && self.is_held_by_none(&free, &next) {
                let sight = last.map_or(sight, |last| self.sight_from(&ahead, &step, &last));
                return Self::weigh(&sight, &next);
            }
            (state, last) = (ahead, Some(step));
            if moved < SETTLED {
                break;
            }
        }
        let model = self.model(&nodes, &state);
        let determinant = model.covariance.determinant(&model.covariance.cofactors());
        Self::weigh(&Sight { chi_square: self.chi_square(&model, &state), determinant }, &state)
    }

    /// Whether no unknown is held at another bound than the veil's: there, the step's own sum of squares is
    /// another one.
    fn is_held_by_none(&self, free: &State, next: &State) -> bool {
        largest(&self.in_widths(free, next)) < SETTLED
    }

    /// Where steps lead that go on to shrink as this one did against the last (Anderson's acceleration with
    /// one step kept, J. ACM 12:547, 1965): steps that go to and fro meet in the middle.
    #[inline]
    fn ahead(&self, step: &Step, next: &State, last: &Step) -> State {
        let change: State = std::array::from_fn(|k| step.widths[k] - last.widths[k]);
        let share = quotient(dot(&change, &step.widths), dot(&change, &change));
        let ahead = std::array::from_fn(|k| {
            let width = self.variance[k] * self.inverse_sd[k];
            next[k] - share * (step.from[k] - last.from[k] + change[k] * width)
        });
        self.within_bounds(&ahead)
    }

    /// What would be seen from a state near the last two, on a straight line through what was seen there.
    #[inline]
    fn sight_from(&self, ahead: &State, step: &Step, last: &Step) -> Sight {
        let moves = self.in_widths(&last.from, &step.from);
        let share = quotient(dot(&self.in_widths(&step.from, ahead), &moves), dot(&moves, &moves));
        step.sight.beyond(&last.sight, share)
    }

    /// How far the unknowns move, in standard deviations of their priors.
    #[inline]
    fn in_widths(&self, from: &State, to: &State) -> State {
        std::array::from_fn(|k| (to[k] - from[k]) * self.inverse_sd[k])
    }

    /// Sum of squares at this state.
    fn chi_square(&self, model: &Model, state: &State) -> f64x4 {
        sum(|channel| model.gap[channel] * model.gap[channel] / model.noise[channel]) + self.pulls(state)
    }

    /// Sum of squares of the unknowns against their priors.
    fn pulls(&self, state: &State) -> f64x4 {
        let pulls = (0..5).map(|k| (state[k] - self.prior[k]) * self.inverse_sd[k]);
        pulls.fold(f64x4::ZERO, |all, pull| all + pull * pull)
    }

    /// What four samples say.
    #[inline(always)]
    fn weigh(sight: &Sight, state: &State) -> [Look; LANES] {
        let likelihood = ((sight.chi_square + sight.determinant.ln()) * -0.5).to_array();
        let chi_square = sight.chi_square.to_array();
        let state = state.map(f64x4::to_array);
        std::array::from_fn(|lane| Look {
            explained: Explained { likelihood: likelihood[lane], chi_square: chi_square[lane] },
            state: state.map(|values| values[lane]),
        })
    }

    /// Priors, with the shade that brings the path nearest.
    fn start(&self, nodes: &Four) -> State {
        let [r, g, b]: [f64x4; 3] = std::array::from_fn(|channel| {
            self.own[channel] - (nodes.absorbance[channel] + nodes.by_lamp[channel] * self.prior[3])
        });
        let middle = r.fast_min(g).fast_max(r.fast_max(g).fast_min(b));
        let mut state: State = std::array::from_fn(|k| f64x4::splat(self.prior[k]));
        state[1] = bounded(middle, (-0.5, 0.5));
        state
    }

    /// One Gauss-Newton step, and what it makes of the sum of squares where no other bound than the
    /// veil's is met.
    #[inline(always)]
    fn step(&self, model: &Model, state: &State) -> (State, Sight) {
        let off: State = std::array::from_fn(|k| state[k] - self.prior[k]);
        let gap: [f64x4; 3] = std::array::from_fn(|channel| {
            let exponent = model.by_path[channel] * off[0]
                + off[1]
                + model.by_lamp[channel] * off[3]
                + off[4] * self.by_mix[channel];
            model.gap[channel] + model.slope[channel] * exponent + off[2]
        });
        let cofactors = model.covariance.cofactors();
        let determinant = model.covariance.determinant(&cofactors);
        let scale = f64x4::ONE / determinant;
        let pulls = cofactors.times(gap).map(|pull| pull * scale);
        let chi_square = sum(|channel| gap[channel] * pulls[channel]);
        let change = self.change(model, &pulls);
        let free = std::array::from_fn(|k| change[k] + self.prior[k]);
        let beyond = free[VEIL] - bounded(free[VEIL], (0.0, self.most_veil));
        if beyond == f64x4::ZERO {
            return (free, Sight { chi_square, determinant });
        }
        let pulls = cofactors.times([f64x4::ONE; 3]).map(|pull| pull * scale);
        let (held, chi_square) = self.held(free, chi_square, beyond, self.change(model, &pulls));
        (held, Sight { chi_square, determinant })
    }

    /// The step with the veil held at its bound, and the other unknowns where they are most probable then
    /// (conditional normal law): they make up for each other, and what they came to with the veil beyond
    /// its bound means nothing. `told` is what the light tells of the unknowns along with the veil, as
    /// much as their priors' variances.
    fn held(&self, free: State, chi_square: f64x4, beyond: f64x4, told: State) -> (State, f64x4) {
        let with_veil: State = std::array::from_fn(|k| {
            let prior = if k == VEIL { self.variance[VEIL] } else { 0.0 };
            prior - told[k] * self.variance[VEIL]
        });
        let gain = beyond / with_veil[VEIL];
        let mut held: State = std::array::from_fn(|k| free[k] - with_veil[k] * gain);
        // On its bound and not beside it by a rounding: bounds that are met are asked for.
        held[VEIL] = bounded(free[VEIL], (0.0, self.most_veil));
        (held, chi_square + beyond * gain)
    }

    /// What pulls on the light's channels make of the unknowns.
    #[inline(always)]
    fn change(&self, model: &Model, pulls: &[f64x4; 3]) -> State {
        let exponents: [f64x4; 3] = std::array::from_fn(|channel| model.slope[channel] * pulls[channel]);
        let change = [
            sum(|channel| model.by_path[channel] * exponents[channel]),
            sum(|channel| exponents[channel]),
            sum(|channel| pulls[channel]),
            sum(|channel| model.by_lamp[channel] * exponents[channel]),
            sum(|channel| exponents[channel] * self.by_mix[channel]),
        ];
        std::array::from_fn(|k| change[k] * self.variance[k])
    }

    /// Keeps unknowns where the model means something.
    #[inline]
    fn within_bounds(&self, state: &State) -> State {
        let mut within = *state;
        within[0] = bounded(within[0], PATH_BOUNDS);
        within[1] = bounded(within[1], SHADE_BOUNDS);
        within[2] = bounded(within[2], (0.0, self.most_veil));
        within
    }

    /// Which unknowns lie at a bound.
    pub(super) fn bounds_met(&self, state: &[f64; 5]) -> [bool; 3] {
        let bounds = [PATH_BOUNDS, SHADE_BOUNDS, (0.0, self.most_veil)];
        std::array::from_fn(|k| state[k] <= bounds[k].0 || state[k] >= bounds[k].1)
    }

    #[inline(always)]
    fn model(&self, nodes: &Four, state: &State) -> Model {
        let [path, shade, veil, lamp, mix] = *state;
        let by_path: [f64x4; 3] =
            std::array::from_fn(|channel| nodes.absorbance[channel] + lamp * nodes.by_lamp[channel]);
        let by_lamp = nodes.by_lamp.map(|by_lamp| path * by_lamp);
        let passed: [f64x4; 3] = std::array::from_fn(|channel| {
            exp((path * by_path[channel] + shade + mix * self.by_mix[channel]) * -LN_10)
        });
        let slope = passed.map(|passed| passed * -LN_10);
        let gap = std::array::from_fn(|channel| self.light[channel] - passed[channel] - veil);
        let Metamerism { own, wing, leak } = self.metamerism;
        let wings = nodes.spread * wing;
        let noise = std::array::from_fn(|channel| {
            let own = (nodes.absorbance[channel] - nodes.lightest) * own;
            let leak = (self.brightest - passed[channel]) * leak;
            let by_absorbance = slope[channel] * path;
            passed[channel] * passed[channel] * (own * own + wings * wings)
                + leak * leak
                + by_absorbance * by_absorbance * nodes.doubt[channel]
                + self.noise[channel]
        });
        let covariance = self.covariance(&slope, &by_path, &by_lamp, &noise);
        Model { gap, slope, by_path, by_lamp, noise, covariance }
    }

    /// Covariance of the light: what the unknowns' priors do to it, and its own noise.
    #[inline(always)]
    fn covariance(
        &self,
        slope: &[f64x4; 3],
        by_path: &[f64x4; 3],
        by_lamp: &[f64x4; 3],
        noise: &[f64x4; 3],
    ) -> Symmetric {
        let [path, shade, veil, lamp, mix] = self.variance;
        let entry = |row: usize, column: usize| {
            let exponent = by_path[row] * by_path[column] * path
                + by_lamp[row] * by_lamp[column] * lamp
                + (shade + mix * self.by_mix[row] * self.by_mix[column]);
            slope[row] * slope[column] * exponent + veil
        };
        Symmetric([
            entry(0, 0) + noise[0],
            entry(0, 1),
            entry(0, 2),
            entry(1, 1) + noise[1],
            entry(1, 2),
            entry(2, 2) + noise[2],
        ])
    }
}

#[inline]
fn dot(a: &State, b: &State) -> f64x4 {
    (0..5).fold(f64x4::ZERO, |sum, k| sum + a[k] * b[k])
}

/// At most one, either way; none of nothing.
#[inline]
fn quotient(a: f64x4, b: f64x4) -> f64x4 {
    bounded(a / (b + f64::MIN_POSITIVE), (-1.0, 1.0))
}

/// The largest at any of four samples.
#[inline]
fn largest(step: &State) -> f64 {
    let largest = step.iter().fold(f64x4::ZERO, |most, step| most.fast_max(step.abs())).to_array();
    largest.into_iter().fold(0.0, f64::max)
}

/// Sum over the channels.
#[inline]
fn sum(term: impl Fn(usize) -> f64x4) -> f64x4 {
    term(0) + term(1) + term(2)
}

#[inline]
fn bounded(value: f64x4, (low, high): (f64, f64)) -> f64x4 {
    value.fast_max(f64x4::splat(low)).fast_min(f64x4::splat(high))
}
