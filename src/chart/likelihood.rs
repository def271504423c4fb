//! How well samples of a path explain a colour: four samples at a time, in the vector registers.
//!
//! At each sample the photo's unknowns (path factor, shade, veil, lamp, mixed light; see
//! [`super::optics`]) are set to their most probable values (Gauss-Newton), and integrated out by
//! Laplace's approximation.

use std::f64::consts::LN_10;

use nalgebra::Vector3;
use wide::f64x4;

use super::matching::Circumstances;
use super::optics::{self, LEAST_NOISE, Priors};
use super::path::Node;
use crate::math::exp::exp;
use crate::terms::space::Relative;

/// Samples that are looked at side by side.
pub(super) const LANES: usize = 4;

/// Share of the correction's residual that enters a colour's noise.
const RESIDUAL_SHARE: f64 = 0.5;
/// Uncertainty of the coloured part of the absorbance: dyes and printing inks answer differently to a
/// lamp's spectrum and a phone's filters. Some always, in proportion to what the patches do not agree on,
/// and to how far the patches' hues had to be moved. Simulated spectra of 14 sets of dyes, inks, phones
/// and six lamps: 4 % (robust) where hues move by 0.02, 10 % where they move by 0.1; part of it is a
/// change of path and taken up there.
const METAMERISM: f64 = 0.03;
const METAMERISM_BY_RESIDUAL: f64 = 1.5;
const METAMERISM_BY_HUE_SHIFT: f64 = 0.5;
/// Most Gauss-Newton steps.
const STEPS: usize = 5;
/// Unknowns that move by less than this are settled: the likelihood is level there.
const SETTLED: f64 = 1e-4;
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

/// A colour with its noise and the priors of its photo. The five unknowns stand in the order path
/// factor, shade, veil, lamp, mixed light.
pub(super) struct Problem {
    light: [f64; 3],
    /// Variance of each channel.
    noise: [f64; 3],
    metamerism: f64,
    mixed: [f64; 3],
    prior: [f64; 5],
    variance: [f64; 5],
    /// Absorbance of the colour at the usual veil.
    own: [f64; 3],
    most_veil: f64,
}

/// Four samples of a path.
struct Four {
    absorbance: [f64x4; 3],
    by_lamp: [f64x4; 3],
    /// Absorbance of the lightest channel.
    lightest: f64x4,
    /// Variance of the absorbance.
    doubt: [f64x4; 3],
}

impl Four {
    fn of(nodes: [&Node; LANES]) -> Self {
        let lanes = |value: &dyn Fn(&Node) -> f64| f64x4::new(nodes.map(value));
        let absorbance = std::array::from_fn(|channel| lanes(&|node| node.absorbance[channel]));
        let [r, g, b]: [f64x4; 3] = absorbance;
        Self {
            absorbance,
            by_lamp: std::array::from_fn(|channel| lanes(&|node| node.by_lamp[channel])),
            lightest: r.fast_min(g).fast_min(b),
            doubt: std::array::from_fn(|channel| lanes(&|node| node.doubt[channel])),
        }
    }
}

/// The unknowns at four samples.
type State = [f64x4; 5];

/// The model at four samples and one state of the unknowns each.
struct Model {
    /// Observed less predicted light.
    gap: [f64x4; 3],
    /// Change of the predicted light with each unknown.
    jacobian: [[f64x4; 5]; 3],
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

/// Standard uncertainty of the coloured part of the absorbance, relative.
pub(super) fn metamerism(circumstances: &Circumstances) -> f64 {
    METAMERISM
        .hypot(METAMERISM_BY_RESIDUAL * circumstances.residual)
        .hypot(METAMERISM_BY_HUE_SHIFT * circumstances.hue_shift)
}

impl Problem {
    pub(super) fn new(colour: Relative, circumstances: &Circumstances, priors: Priors) -> Self {
        let light = Vector3::from(colour);
        let relative =
            LEAST_NOISE.hypot(RESIDUAL_SHARE * circumstances.residual).hypot(circumstances.unevenness);
        let noise = optics::noise(&light, relative);
        let (lamp, lamp_sd) = circumstances.lamp;
        let sd = [priors.path_sd, priors.shade_sd, priors.veil_sd, lamp_sd, 1.0];
        Self {
            light: colour,
            noise: noise.component_mul(&noise).add_scalar(priors.veil_colour_sd.powi(2)).into(),
            metamerism: metamerism(circumstances) * LN_10,
            mixed: circumstances.mixed,
            prior: [1.0, 0.0, priors.veil_mean, lamp, 0.0],
            variance: sd.map(|sd| sd * sd),
            own: colour.map(|value| -(value - priors.veil_mean).max(0.01).log10()),
            most_veil: 0.9 * light.min(),
        }
    }

    /// What each of four samples says.
    pub(super) fn explain(&self, nodes: [&Node; LANES]) -> [Explained; LANES] {
        let nodes = Four::of(nodes);
        let mut state = self.start(&nodes);
        for _ in 0..STEPS {
            let before = state;
            state = self.step(&nodes, &before);
            let moved =
                before.iter().zip(&state).fold(f64x4::ZERO, |most, (a, b)| most.fast_max((*a - *b).abs()));
            if moved.simd_lt(f64x4::splat(SETTLED)).all() {
                break;
            }
        }
        let model = self.model(&nodes, &state);
        let mut chi_square = f64x4::ZERO;
        for channel in 0..3 {
            chi_square += model.gap[channel] * model.gap[channel] / model.noise[channel];
        }
        for (k, value) in state.iter().enumerate() {
            let pull = *value - self.prior[k];
            chi_square += pull * pull * (1.0 / self.variance[k]);
        }
        let determinant = model.covariance.determinant(&model.covariance.cofactors());
        let likelihood = (chi_square + determinant.ln()) * -0.5;
        let (likelihood, chi_square) = (likelihood.to_array(), chi_square.to_array());
        std::array::from_fn(|k| Explained { likelihood: likelihood[k], chi_square: chi_square[k] })
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

    /// One Gauss-Newton step.
    fn step(&self, nodes: &Four, state: &State) -> State {
        let model = self.model(nodes, state);
        let mut gap = model.gap;
        for (gap, row) in gap.iter_mut().zip(&model.jacobian) {
            for (k, slope) in row.iter().enumerate() {
                *gap += *slope * (state[k] - self.prior[k]);
            }
        }
        let cofactors = model.covariance.cofactors();
        let scale = f64x4::ONE / model.covariance.determinant(&cofactors);
        let pulls = cofactors.times(gap).map(|pull| pull * scale);
        let mut next: State = std::array::from_fn(|k| {
            let change: f64x4 = (0..3)
                .map(|channel| model.jacobian[channel][k] * pulls[channel])
                .fold(f64x4::ZERO, |sum, term| sum + term);
            change * self.variance[k] + self.prior[k]
        });
        next[0] = bounded(next[0], PATH_BOUNDS);
        next[1] = bounded(next[1], SHADE_BOUNDS);
        next[2] = bounded(next[2], (0.0, self.most_veil));
        next
    }

    fn model(&self, nodes: &Four, state: &State) -> Model {
        let [path, shade, veil, lamp, mix] = *state;
        let mut model = Model {
            gap: [f64x4::ZERO; 3],
            jacobian: [[f64x4::ZERO; 5]; 3],
            noise: [f64x4::ZERO; 3],
            covariance: Symmetric([f64x4::ZERO; 6]),
        };
        for channel in 0..3 {
            let (absorbance, by_lamp) = (nodes.absorbance[channel], nodes.by_lamp[channel]);
            let own = absorbance + lamp * by_lamp;
            let passed = exp((path * own + shade) * -LN_10 + mix * self.mixed[channel]);
            model.gap[channel] = self.light[channel] - passed - veil;
            let by_shade = passed * -LN_10;
            model.jacobian[channel] = [
                by_shade * own,
                by_shade,
                f64x4::ONE,
                by_shade * path * by_lamp,
                passed * self.mixed[channel],
            ];
            let coloured = passed * (absorbance - nodes.lightest) * self.metamerism;
            let by_absorbance = by_shade * path;
            model.noise[channel] = coloured * coloured
                + by_absorbance * by_absorbance * nodes.doubt[channel]
                + self.noise[channel];
        }
        model.covariance = self.covariance(&model.jacobian, &model.noise);
        model
    }

    /// Covariance of the light: what the unknowns' priors do to it, and its own noise.
    fn covariance(&self, jacobian: &[[f64x4; 5]; 3], noise: &[f64x4; 3]) -> Symmetric {
        let spread: [[f64x4; 5]; 3] =
            std::array::from_fn(|row| std::array::from_fn(|k| jacobian[row][k] * self.variance[k]));
        let entry = |row: usize, column: usize| {
            let terms = spread[row].iter().zip(&jacobian[column]).map(|(a, b)| *a * *b);
            terms.fold(f64x4::ZERO, |sum, term| sum + term)
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

fn bounded(value: f64x4, (low, high): (f64, f64)) -> f64x4 {
    value.fast_max(f64x4::splat(low)).fast_min(f64x4::splat(high))
}
