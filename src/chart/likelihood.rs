//! How well samples of a path explain a colour: four samples at a time, in the vector registers.
//!
//! At each sample the photo's unknowns (path factor, shade, veil, lamp, mixed light; see
//! [`super::optics`]) are set to their most probable values (Gauss-Newton), and integrated out by
//! Laplace's approximation.

use std::f64::consts::LN_10;

use nalgebra::Vector3;
use wide::f64x4;

use super::matching::Circumstances;
use super::metamerism::Metamerism;
use super::optics::{self, LEAST_NOISE, Priors};
use super::path::Node;
use crate::math::exp::exp;
use crate::terms::space::Relative;

/// Samples that are looked at side by side.
pub(super) const LANES: usize = 4;

/// Share of the correction's residual that enters a colour's noise.
const RESIDUAL_SHARE: f64 = 0.5;
/// Most Gauss-Newton steps of a look.
const MOST_STEPS: usize = 12;
/// Unknowns that move by less than this share of their priors' widths are settled: the likelihood is
/// level there, and off by the square of it.
const SETTLED: f64 = 1e-3;
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

/// Four samples of a path.
struct Four {
    absorbance: [f64x4; 3],
    by_lamp: [f64x4; 3],
    /// Absorbance of the lightest channel, and what the strongest absorbs beyond it.
    lightest: f64x4,
    spread: f64x4,
    /// Variance of the absorbance.
    doubt: [f64x4; 3],
}

impl Four {
    fn of(nodes: [&Node; LANES]) -> Self {
        let lanes = |value: &dyn Fn(&Node) -> f64| f64x4::new(nodes.map(value));
        let absorbance = std::array::from_fn(|channel| lanes(&|node| node.absorbance[channel]));
        let [r, g, b]: [f64x4; 3] = absorbance;
        let lightest = r.fast_min(g).fast_min(b);
        Self {
            absorbance,
            by_lamp: std::array::from_fn(|channel| lanes(&|node| node.by_lamp[channel])),
            lightest,
            spread: r.fast_max(g).fast_max(b) - lightest,
            doubt: std::array::from_fn(|channel| lanes(&|node| node.doubt[channel])),
        }
    }
}

/// The unknowns at four samples.
type State = [f64x4; 5];

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

/// A symmetric matrix of three rows: xx, xy, xz, yy, yz, zz.
struct Symmetric([f64x4; 6]);

impl Symmetric {
    fn cofactors(&self) -> Self {
        let [xx, xy, xz, yy, yz, zz] = self.0;
        Self([
            yy * zz - yz * yz,
            xz * yz - xy * zz,
            xy * yz - xz * yy,
            xx * zz - xz * xz,
            xy * xz - xx * yz,
            xx * yy - xy * xy,
        ])
    }

    fn determinant(&self, cofactors: &Self) -> f64x4 {
        self.0[0] * cofactors.0[0] + self.0[1] * cofactors.0[1] + self.0[2] * cofactors.0[2]
    }

    fn times(&self, [x, y, z]: [f64x4; 3]) -> [f64x4; 3] {
        let m = &self.0;
        [m[0] * x + m[1] * y + m[2] * z, m[1] * x + m[3] * y + m[4] * z, m[2] * x + m[4] * y + m[5] * z]
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
        let (next, chi_square) = self.step(model, start);
        self.weigh(model, &self.within_bounds(&next), chi_square)
    }

    /// Looks at four samples from where the unknowns about lie until they have settled.
    pub(super) fn look(&self, nodes: [&Node; LANES], about: [&[f64; 5]; LANES]) -> [Look; LANES] {
        let nodes = Four::of(nodes);
        let mut state: State = std::array::from_fn(|k| f64x4::new(about.map(|state| state[k])));
        for _ in 0..MOST_STEPS {
            let model = self.model(&nodes, &state);
            let (free, chi_square) = self.step(&model, &state);
            let next = self.within_bounds(&free);
            let is_settled = self.distance(&state, &next).simd_lt(f64x4::splat(SETTLED)).all();
            state = next;
            if is_settled && self.distance(&free, &next).simd_lt(f64x4::splat(SETTLED)).all() {
                return self.weigh(&model, &state, chi_square);
            }
            if is_settled {
                break;
            }
        }
        let model = self.model(&nodes, &state);
        self.weigh(&model, &state, self.chi_square(&model, &state))
    }

    /// Farthest that an unknown has moved, in standard deviations of its prior.
    #[inline]
    fn distance(&self, from: &State, to: &State) -> f64x4 {
        let moved = (0..5).map(|k| (from[k] - to[k]).abs() * self.inverse_sd[k]);
        moved.fold(f64x4::ZERO, |most, moved| most.fast_max(moved))
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
    fn weigh(&self, model: &Model, state: &State, chi_square: f64x4) -> [Look; LANES] {
        let determinant = model.covariance.determinant(&model.covariance.cofactors());
        let likelihood = ((chi_square + determinant.ln()) * -0.5).to_array();
        let chi_square = chi_square.to_array();
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
    fn step(&self, model: &Model, state: &State) -> (State, f64x4) {
        let off: State = std::array::from_fn(|k| state[k] - self.prior[k]);
        let gap: [f64x4; 3] = std::array::from_fn(|channel| {
            let exponent = model.by_path[channel] * off[0]
                + off[1]
                + model.by_lamp[channel] * off[3]
                + off[4] * self.by_mix[channel];
            model.gap[channel] + model.slope[channel] * exponent + off[2]
        });
        let cofactors = model.covariance.cofactors();
        let scale = f64x4::ONE / model.covariance.determinant(&cofactors);
        let pulls = cofactors.times(gap).map(|pull| pull * scale);
        let chi_square = sum(|channel| gap[channel] * pulls[channel]);
        let change = self.change(model, &pulls);
        let free = std::array::from_fn(|k| change[k] + self.prior[k]);
        let beyond = free[VEIL] - bounded(free[VEIL], (0.0, self.most_veil));
        if beyond == f64x4::ZERO {
            return (free, chi_square);
        }
        let pulls = cofactors.times([f64x4::ONE; 3]).map(|pull| pull * scale);
        self.held(free, chi_square, beyond, self.change(model, &pulls))
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
        (std::array::from_fn(|k| free[k] - with_veil[k] * gain), chi_square + beyond * gain)
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

/// Sum over the channels.
#[inline]
fn sum(term: impl Fn(usize) -> f64x4) -> f64x4 {
    term(0) + term(1) + term(2)
}

#[inline]
fn bounded(value: f64x4, (low, high): (f64, f64)) -> f64x4 {
    value.fast_max(f64x4::splat(low)).fast_min(f64x4::splat(high))
}
