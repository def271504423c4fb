//! What a photo of a vial shows of its liquid, and how that differs from photo to photo.
//!
//! Light relative to the paper is `10^-(s (A + u E A) + t) exp(x m) + v`: the liquid's absorbance `A`
//! (decadic) times the path factor `s` (light passes once or nearly twice), shifted along the lamp
//! direction by its score `u`; the shade `t` (glass shadows and focuses, the same in all channels);
//! light of another lamp `m` in mixed light; and the veil `v`, the room's white mirrored by the glass.
//! None of them says anything of the liquid: each is unknown in every photo, with a prior.

use nalgebra::{Matrix3, Vector3};

/// Standard deviation of the path factor about 1.
pub const PATH_SD: f64 = 0.06;
/// Standard deviation of the shade, decadic absorbance.
pub const SHADE_SD: f64 = 0.15;
/// Mean of the veil, share of paper white: one glass surface mirrors 4 % (Fresnel, refractive index
/// 1.5) of a room about half as bright as the paper.
pub const VEIL_MEAN: f64 = 0.02;
/// Standard deviation of the veil, share of paper white.
pub const VEIL_SD: f64 = 0.02;
/// Standard deviation of the elements of the lamp matrix.
pub const LAMP_SD: f64 = 0.1;
/// Relative noise of a colour that the correction predicts perfectly.
pub const LEAST_NOISE: f64 = 0.012;
/// Share of the brightest channel that adds to every channel's noise: flare and crosstalk.
const CROSSTALK: f64 = 0.15;
/// Light that adds to every channel's noise: black level.
const BLACK_LEVEL: f64 = 0.02;

/// Standard deviation of a corrected colour's channels at a relative noise.
pub fn noise(light: &Vector3<f64>, relative: f64) -> Vector3<f64> {
    let brightest = light.max();
    light.map(|value| relative * (value + CROSSTALK * brightest + BLACK_LEVEL))
}

/// Decadic absorbance of the light left when a veil is taken off.
pub fn absorbance(light: &Vector3<f64>, veil: f64) -> Vector3<f64> {
    light.map(|value| -(value - veil).max(DARKEST).log10())
}

/// Darkest light whose logarithm is taken.
pub const DARKEST: f64 = 0.004;

/// Covariance of a diagonal of variances.
pub fn diagonal(sd: &Vector3<f64>) -> Matrix3<f64> {
    Matrix3::from_diagonal(&sd.component_mul(sd))
}
