//! From a colour to a probability over values.
//!
//! At every sample of the path the photo's unknowns (path factor, shade, veil, lamp, mixed light; see
//! [`super::optics`]) are set to their most probable values (Gauss-Newton), and integrated out by
//! Laplace's approximation. The prior is even in steps, so that it favours no level. The value is the
//! median, the interval holds 95 %; both end where the chart ends, but where a chart begins above
//! zero (pH) the interval goes on below it as far as the path does.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::optics::{self, DARKEST, LEAST_NOISE, Priors};
use super::path::{Node, Path};
use crate::terms::space::Relative;

/// Share of the correction's residual that enters a colour's noise.
const RESIDUAL_SHARE: f64 = 0.5;
/// Uncertainty of the coloured part of the absorbance per unit of the correction's residual: dyes and
/// printing inks answer differently to a lamp's spectrum.
const METAMERISM: f64 = 1.5;
/// Gauss-Newton steps.
const STEPS: usize = 5;
/// Probability that the value lies above the last level from which on the photo is said to be above
/// the chart.
const SURELY_ABOVE: f64 = 0.975;
/// Sum of squares beyond which a colour lies off the path: another kit's, or a spoilt reagent's. For
/// three channels and five unknowns with priors 8 is ordinary; lamps and phones unlike those of the
/// standards reach 15.
const OFF_PATH: f64 = 40.0;
/// Beyond this the colour is a little beside the path.
const BESIDE_PATH: f64 = 16.0;
/// The same beyond the chart's end, where the path is only extended.
const OFF_EXTENDED_PATH: f64 = 150.0;

/// What a photo tells besides the colour itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circumstances {
    /// Relative error of the colour correction.
    pub residual: f64,
    /// Lamp score and its standard uncertainty.
    pub lamp: (f64, f64),
    /// Natural logarithm, for each channel, of what the sample's light may differ from the paper's
    /// in mixed light (one standard deviation).
    pub mixed: [f64; 3],
    /// Relative scatter of the colour over the sample, beyond what the correction misses.
    pub unevenness: f64,
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
    /// Above the last level with more than 97.5 % probability; it certainly exceeds `low`.
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
}

impl Match {
    /// Whether the colour lies a little beside the path.
    pub fn is_beside_path(&self) -> bool {
        self.chi_square > BESIDE_PATH
    }
}

/// The five unknowns of a photo, in the order path factor, shade, veil, lamp, mixed light.
type Unknowns = SVector<f64, 5>;
type Jacobian = SMatrix<f64, 3, 5>;

/// Matches a colour in the reference view to the path.
pub fn match_colour(path: &Path, colour: Relative, circumstances: &Circumstances) -> Match {
    let problem = Problem::new(colour, circumstances, path.priors);
    let explained: Vec<(f64, f64)> = path.nodes.iter().map(|node| problem.explain(node)).collect();
    let best = explained.iter().map(|(likelihood, _)| *likelihood).fold(f64::NEG_INFINITY, f64::max);
    let chi_square = explained.iter().map(|(_, chi_square)| *chi_square).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = explained.iter().map(|(likelihood, _)| (likelihood - best).exp()).collect();
    let posterior = Posterior::new(path, &weights);
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
    Match { outcome, chi_square, above, sd: posterior.sd(), may_be_lower }
}

/// A colour with its noise and the priors of its photo.
struct Problem {
    light: Vector3<f64>,
    noise: Vector3<f64>,
    metamerism: f64,
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
            metamerism: METAMERISM * circumstances.residual,
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
            let Some(precision) = model.covariance.try_inverse() else {
                return (f64::NEG_INFINITY, f64::INFINITY);
            };
            let gap = self.light - model.predicted + model.jacobian * (state - self.prior);
            let change = model.jacobian.transpose() * (precision * gap);
            state = self.prior + change.component_mul(&self.variance);
            state[0] = state[0].clamp(0.6, 1.6);
            state[1] = state[1].clamp(-0.6, 0.8);
            state[2] = state[2].clamp(0.0, 0.9 * self.light.min());
        }
        let model = self.model(node, &state);
        let gap = self.light - model.predicted;
        let misfit: f64 = gap.component_mul(&gap).component_div(&model.noise).sum();
        let pull = state - self.prior;
        let chi_square = misfit + pull.component_mul(&pull).component_div(&self.variance).sum();
        (-0.5 * chi_square - 0.5 * model.covariance.determinant().ln(), chi_square)
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
            noise[channel] += (self.metamerism * LN10 * passed * coloured).powi(2);
        }
        let covariance =
            jacobian * SMatrix::<f64, 5, 5>::from_diagonal(&self.variance) * jacobian.transpose()
                + Matrix3::from_diagonal(&noise);
        Model { predicted, jacobian, noise, covariance }
    }
}

/// Probabilities at the path's nodes.
struct Posterior<'a> {
    path: &'a Path,
    weights: Vec<f64>,
    /// Probability up to the middle of each node.
    cumulated: Vec<f64>,
}

impl<'a> Posterior<'a> {
    fn new(path: &'a Path, weights: &[f64]) -> Self {
        let total: f64 = weights.iter().sum();
        let weights: Vec<f64> = weights.iter().map(|weight| weight / total).collect();
        let mut sum = 0.0;
        let cumulated = weights
            .iter()
            .map(|weight| {
                sum += weight;
                sum - weight / 2.0
            })
            .collect();
        Self { path, weights, cumulated }
    }

    fn quantile(&self, p: f64) -> f64 {
        let k = self.cumulated.partition_point(|&sum| sum < p);
        let nodes = &self.path.nodes;
        if k == 0 {
            return nodes[0].value;
        }
        let Some(node) = nodes.get(k) else { return nodes[nodes.len() - 1].value };
        let (from, to) = (self.cumulated[k - 1], self.cumulated[k]);
        let share = if to > from { (p - from) / (to - from) } else { 0.0 };
        nodes[k - 1].value + share * (node.value - nodes[k - 1].value)
    }

    fn above(&self, last: f64) -> f64 {
        self.path.nodes.iter().zip(&self.weights).filter(|(node, _)| node.value > last).map(|(_, w)| w).sum()
    }

    fn sd(&self) -> f64 {
        let pairs = || self.path.nodes.iter().map(|node| node.value).zip(&self.weights);
        let mean: f64 = pairs().map(|(value, weight)| weight * value).sum();
        pairs().map(|(value, weight)| weight * (value - mean).powi(2)).sum::<f64>().sqrt()
    }
}

/// The light that the path shows at a value in a typical photo: for pictures.
pub fn typical_light(path: &Path, value: f64) -> Relative {
    let absorbance = path.absorbance_at(value);
    std::array::from_fn(|channel| (10_f64.powf(-absorbance[channel]) + path.priors.veil_mean).max(DARKEST))
}
