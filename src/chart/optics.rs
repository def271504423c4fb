//! What a photo shows of a vial's liquid or a strip's pad, and how that differs from photo to photo.
//!
//! Light relative to the paper is `10^-(s (A + u E A) + t) exp(x m) + v`: the liquid's absorbance `A`
//! (decadic) times the path factor `s` (light passes once or nearly twice), shifted along the lamp
//! direction by its score `u`; the shade `t` (glass shadows and focuses, the same in all channels);
//! light of another lamp `m` in mixed light; and the veil `v`, the room's white mirrored by the glass.
//! None of them says anything of the liquid: each is unknown in every photo, with a prior.

use nalgebra::{Matrix3, Vector3};

/// What is known beforehand of a photo's unknowns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Priors {
    /// Standard deviation of the path factor about 1.
    pub path_sd: f64,
    /// Standard deviation of the shade, decadic absorbance.
    pub shade_sd: f64,
    /// Mean of the veil, share of paper white.
    pub veil_mean: f64,
    /// Standard deviation of the veil, share of paper white.
    pub veil_sd: f64,
    /// Standard deviation of the veil's colour, a channel, share of paper white.
    pub veil_colour_sd: f64,
}

/// A glass vial. Its veil: one glass surface mirrors 4 % (Fresnel, refractive index 1.5) of a room
/// about half as bright as the paper, whose colour differs by some 15 % a channel (clothes, walls;
/// an estimate, no source).
pub const VIAL: Priors =
    Priors { path_sd: 0.06, shade_sd: 0.15, veil_mean: 0.02, veil_sd: 0.02, veil_colour_sd: 0.003 };

/// A strip's pad: it reflects like the paper beside it, so its shade is small, and light has no path
/// in it; what varies like one is the amount of reagent, a few percent a pad. A wet pad's gloss is
/// mostly left out before.
pub const PAD: Priors =
    Priors { path_sd: 0.05, shade_sd: 0.02, veil_mean: 0.01, veil_sd: 0.01, veil_colour_sd: 0.003 };

/// Standard deviation of the elements of the lamp matrix.
pub const LAMP_SD: f64 = 0.1;
/// Standard deviation of a printed swatch about the printed scale's own course, decadic absorbance of
/// each channel. Offset print is held to about 5 CIELAB units a colour (ISO 12647-2, from memory, not
/// verified): in mid tones 5 units are 0.06 in one channel alone, 0.04 spread over three.
pub const PRINT_SD: f64 = 0.05;
/// Standard deviation of the gain by which a printed scale's absorbance as a whole differs from the
/// liquid's, for each channel: the scale is matched by eye, with inks, for one way of looking. A guess
/// of the field's order, no source; `MEASURED.md` beside it says how readings fared with scales further off.
pub const PRINT_GAIN_SD: f64 = 0.2;
/// Standard deviation of its offset, decadic absorbance: the ground it is printed on.
pub const PRINT_OFFSET_SD: f64 = 0.03;
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
