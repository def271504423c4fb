//! What four samples of a path would show, each with its photo's unknowns at one state.

use std::f64::consts::LN_10;

use fearless_simd::{Simd, f64x4};

use super::four::{Channels, Four, Unknowns};
use super::row::Row;
use super::symmetric::Symmetric;
use super::{Problem, VEIL};
use crate::chart::metamerism::Metamerism;
use crate::math::exp::exp;

/// A channel's light changes with the exponent of what passes, and that with each unknown but the veil.
pub struct Model<S: Simd> {
    /// Observed less predicted light.
    pub gap: Channels<S>,
    pub slopes: Slopes<S>,
    /// Variance of each channel.
    pub noise: Channels<S>,
    pub covariance: Symmetric<S>,
}

/// How a channel's light changes.
#[derive(Clone, Copy)]
pub struct Slopes<S: Simd> {
    /// Change of the predicted light with the decadic exponent.
    pub light: Channels<S>,
    /// Change of the exponent with the path factor, the lamp and mixed light; with the shade it is one.
    pub by_path: Channels<S>,
    pub by_lamp: Channels<S>,
    pub by_mix: Channels<S>,
}

impl<S: Simd> Model<S> {
    #[inline(always)]
    pub fn new(problem: &Problem, nodes: &Four<S>, state: &Unknowns<S>) -> Self {
        let Row([path, shade, veil, lamp, mix]) = *state;
        let by_mix = Row::splat(path.simd, problem.by_mix);
        let by_path = nodes.absorbance + nodes.by_lamp * lamp;
        let by_lamp = nodes.by_lamp * path;
        let Row([red, green, blue]) = (by_path * path + shade + by_mix * mix) * -LN_10;
        let passed = Row([exp(red), exp(green), exp(blue)]);
        let slopes = Slopes { light: passed * -LN_10, by_path, by_lamp, by_mix };
        let gap = Row::splat(path.simd, problem.light) - passed - veil;
        let Metamerism { own, wing, leak } = problem.metamerism;
        let wings = nodes.spread * wing;
        let own = (nodes.absorbance - nodes.lightest) * own;
        let leak = (passed - problem.brightest) * leak;
        let noise = passed.squared() * (own.squared() + wings * wings)
            + leak.squared()
            + (slopes.light * path).squared() * nodes.doubt
            + Row::splat(path.simd, problem.noise);
        Self { gap, slopes, noise, covariance: slopes.covariance(problem, &noise) }
    }

    /// The same light with other priors and so much more veil.
    #[inline(always)]
    pub fn behind(&self, veiled: &Problem, more: f64) -> Self {
        let covariance = self.slopes.covariance(veiled, &self.noise);
        Self { gap: self.gap - more, slopes: self.slopes, noise: self.noise, covariance }
    }

    /// Sum of squares of the light.
    #[inline(always)]
    pub fn misfit(&self) -> f64x4<S> {
        (self.gap.squared() / self.noise).sum()
    }
}

impl<S: Simd> Slopes<S> {
    /// Covariance of the light: what the unknowns' priors do to it, and its own noise.
    #[inline(always)]
    fn covariance(&self, problem: &Problem, noise: &Channels<S>) -> Symmetric<S> {
        let [path, _, _, lamp, _] = problem.sd;
        let varied = Varied {
            light: self.light,
            by_path: self.light * self.by_path * path,
            by_lamp: self.light * self.by_lamp * lamp,
            by_veil: problem.variance[VEIL],
        };
        let [xx, xy, xz, yy, yz, zz] = problem.alike;
        Symmetric([
            varied.alike(0, 0, xx) + noise.0[0],
            varied.alike(0, 1, xy),
            varied.alike(0, 2, xz),
            varied.alike(1, 1, yy) + noise.0[1],
            varied.alike(1, 2, yz),
            varied.alike(2, 2, zz) + noise.0[2],
        ])
    }
}

/// By how much the light varies with one standard deviation of an unknown.
struct Varied<S: Simd> {
    /// Change with the exponent itself.
    light: Channels<S>,
    by_path: Channels<S>,
    by_lamp: Channels<S>,
    /// Variance, the same in all channels.
    by_veil: f64,
}

impl<S: Simd> Varied<S> {
    /// What two channels vary alike, whose exponents vary so much alike with shade and mixed light.
    #[inline(always)]
    fn alike(&self, a: usize, b: usize, exponents: f64) -> f64x4<S> {
        self.by_path.0[a] * self.by_path.0[b]
            + self.by_lamp.0[a] * self.by_lamp.0[b]
            + (self.light.0[a] * self.light.0[b] * exponents + self.by_veil)
    }
}
