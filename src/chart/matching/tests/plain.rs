//! The match as its formulas stand, one sample of the path after the other.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::super::{birge_ratio, conclude, excess};
use super::{Circumstances, Match, Node, Path, Relative};
use crate::chart::metamerism::Metamerism;
use crate::chart::optics::{self, LEAST_NOISE, Priors};

const RESIDUAL_SHARE: f64 = 0.5;
/// Most steps; far more than it takes to settle, even where each step undoes most of the one before.
const STEPS: usize = 1000;
/// Unknowns that move by less, standard deviations of their priors, have settled.
const SETTLED: f64 = 1e-9;

/// The five unknowns of a photo, in the order path factor, shade, veil, lamp, mixed light.
type Unknowns = SVector<f64, 5>;
type Jacobian = SMatrix<f64, 3, 5>;

pub(super) fn match_colour(path: &Path, colour: Relative, circumstances: &Circumstances) -> Match {
    let problem = Problem::new(colour, circumstances, path.priors);
    let explained: Vec<(f64, f64)> = path.nodes.iter().map(|node| problem.explain(node)).collect();
    let chi_square = explained.iter().map(|(_, chi_square)| *chi_square).fold(f64::INFINITY, f64::min);
    let excess = excess(birge_ratio(chi_square));
    let logarithms: Vec<f64> =
        explained.iter().map(|(likelihood, chi_square)| likelihood + excess * chi_square).collect();
    let best = logarithms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let likelihoods = logarithms.into_iter().map(|logarithm| (logarithm - best).exp()).collect();
    conclude(path, &path.nodes, chi_square, likelihoods)
}

/// A colour with its noise and the priors of its photo.
struct Problem {
    light: Vector3<f64>,
    noise: Vector3<f64>,
    metamerism: Metamerism,
    mixed: Vector3<f64>,
    prior: Unknowns,
    variance: Unknowns,
}

/// The model at one node and one state of the unknowns.
struct Model {
    predicted: Vector3<f64>,
    jacobian: Jacobian,
    noise: Vector3<f64>,
    covariance: Matrix3<f64>,
}

impl Problem {
    fn new(colour: Relative, circumstances: &Circumstances, priors: Priors) -> Self {
        let light = Vector3::from(colour);
        let relative =
            LEAST_NOISE.hypot(RESIDUAL_SHARE * circumstances.residual).hypot(circumstances.unevenness);
        let noise = optics::noise(&light, relative);
        let (lamp, lamp_sd) = circumstances.lamp;
        Self {
            light,
            noise: noise.component_mul(&noise).add_scalar(priors.veil_colour_sd.powi(2)),
            metamerism: Metamerism::of(circumstances),
            mixed: Vector3::from(circumstances.mixed),
            prior: Unknowns::from([1.0, 0.0, priors.veil_mean, lamp, 0.0]),
            variance: Unknowns::from([priors.path_sd, priors.shade_sd, priors.veil_sd, lamp_sd, 1.0])
                .map(|sd| sd * sd),
        }
    }

    /// Logarithm of the node's likelihood, and the sum of squares at the best state.
    fn explain(&self, node: &Node) -> (f64, f64) {
        let mut state = self.start(node);
        for _ in 0..STEPS {
            let model = self.model(node, &state);
            let most_veil = 0.9 * self.light.min();
            let mut next = self.solved(&model, &state, self.prior, self.variance);
            if !(0.0..=most_veil).contains(&next[2]) {
                // Beyond its bound the veil is held there while the others are sought anew.
                let (mut centre, mut variance) = (self.prior, self.variance);
                (centre[2], variance[2]) = (next[2].clamp(0.0, most_veil), 0.0);
                next = self.solved(&model, &state, centre, variance);
            }
            next[0] = next[0].clamp(0.6, 1.6);
            next[1] = next[1].clamp(-0.6, 0.8);
            // Half of each step: whole ones go to and fro about where they should settle, far from the
            // best samples.
            let moved = (next - state).component_div(&self.variance.map(f64::sqrt)).amax();
            state = 0.5 * (state + next);
            if moved < SETTLED {
                break;
            }
        }
        let model = self.model(node, &state);
        let gap = self.light - model.predicted;
        let misfit: f64 = gap.component_mul(&gap).component_div(&model.noise).sum();
        let pull = state - self.prior;
        let chi_square = misfit + pull.component_mul(&pull).component_div(&self.variance).sum();
        (-0.5 * chi_square - 0.5 * model.covariance.determinant().ln(), chi_square)
    }

    /// One Gauss-Newton step, each unknown drawn to its centre.
    fn solved(&self, model: &Model, state: &Unknowns, centre: Unknowns, variance: Unknowns) -> Unknowns {
        let covariance =
            model.jacobian * SMatrix::<f64, 5, 5>::from_diagonal(&variance) * model.jacobian.transpose()
                + Matrix3::from_diagonal(&model.noise);
        let gap = self.light - model.predicted + model.jacobian * (state - centre);
        let change = model.jacobian.transpose() * (covariance.try_inverse().unwrap() * gap);
        centre + change.component_mul(&variance)
    }

    /// Priors, with the shade that brings the path nearest.
    fn start(&self, node: &Node) -> Unknowns {
        let own = self.light.map(|value| -(value - self.prior[2]).max(0.01).log10());
        let gap = own - (node.absorbance + self.prior[3] * node.by_lamp);
        let mut sorted = [gap[0], gap[1], gap[2]];
        sorted.sort_by(f64::total_cmp);
        let mut state = self.prior;
        state[1] = sorted[1].clamp(-0.5, 0.5);
        state
    }

    fn model(&self, node: &Node, state: &Unknowns) -> Model {
        const LN10: f64 = std::f64::consts::LN_10;
        let [path, shade, veil, lamp, mix] = [state[0], state[1], state[2], state[3], state[4]];
        let own = node.absorbance + lamp * node.by_lamp;
        let lightest = node.absorbance.min();
        let mut jacobian = Jacobian::zeros();
        let mut predicted = Vector3::zeros();
        let mut noise = self.noise;
        for channel in 0..3 {
            let passed = 10_f64.powf(-(path * own[channel] + shade)) * (mix * self.mixed[channel]).exp();
            predicted[channel] = passed + veil;
            jacobian[(channel, 0)] = -LN10 * passed * own[channel];
            jacobian[(channel, 1)] = -LN10 * passed;
            jacobian[(channel, 2)] = 1.0;
            jacobian[(channel, 3)] = -LN10 * passed * path * node.by_lamp[channel];
            jacobian[(channel, 4)] = passed * self.mixed[channel];
            let coloured = node.absorbance[channel] - lightest;
            let spread = node.absorbance.max() - lightest;
            noise[channel] += (self.metamerism.own * LN10 * passed * coloured).powi(2);
            noise[channel] += (self.metamerism.wing * LN10 * passed * spread).powi(2);
            noise[channel] += (self.metamerism.leak * (self.light.max() - passed)).powi(2);
            noise[channel] += (LN10 * passed * path).powi(2) * node.doubt[channel];
        }
        let covariance =
            jacobian * SMatrix::<f64, 5, 5>::from_diagonal(&self.variance) * jacobian.transpose()
                + Matrix3::from_diagonal(&noise);
        Model { predicted, jacobian, noise, covariance }
    }
}
