//! What the photo's 8-bit values mean as light.
//!
//! A wide-gamut photo keeps its own pixels: squeezing them into 8-bit sRGB would cut off saturated
//! colours that the measurement needs. Their meaning travels beside them instead.

use std::sync::LazyLock;

use image::RgbImage;
use moxcms::{ColorProfile, DataColorSpace, ToneReprCurve};
use palette::encoding::{FromLinear, IntoLinear, Srgb};

use super::profile::{self, ColourSpace};

/// Decoding of 8-bit values to linear light in sRGB primaries.
#[derive(Debug, Clone, PartialEq)]
pub struct Encoding {
    /// Linear value of every code, a table a channel.
    curves: Box<[[f32; 256]; 3]>,
    /// From the photo's own primaries to those of sRGB; `None` if they are the same.
    to_srgb: Option<[[f64; 3]; 3]>,
}

static SRGB_CURVE: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| Srgb::into_linear(code as u8)));

impl Encoding {
    /// IEC 61966-2-1.
    pub fn srgb() -> Self {
        Self { curves: Box::new([*SRGB_CURVE; 3]), to_srgb: None }
    }

    /// That of an embedded profile. Profiles of curves and a matrix (all that phones write) leave the
    /// pixels alone; by a profile of tables the pixels are converted to sRGB.
    pub(super) fn of(icc: Option<&[u8]>, pixels: &mut RgbImage) -> (Self, ColourSpace) {
        let Some(icc) = icc else { return (Self::srgb(), ColourSpace::Srgb) };
        match ColorProfile::new_from_slice(icc).ok().and_then(|parsed| Self::of_matrix_profile(&parsed)) {
            Some(encoding) if encoding.is_nearly_srgb() => (Self::srgb(), ColourSpace::Srgb),
            Some(encoding) => (encoding, ColourSpace::Converted),
            None => (Self::srgb(), profile::to_srgb(pixels, icc)),
        }
    }

    fn of_matrix_profile(profile: &ColorProfile) -> Option<Self> {
        if profile.color_space != DataColorSpace::Rgb || profile.lut_a_to_b_perceptual.is_some() {
            return None;
        }
        let curve = |trc: &Option<ToneReprCurve>| -> Option<[f32; 256]> {
            let evaluator = trc.as_ref()?.make_linear_evaluator().ok()?;
            Some(std::array::from_fn(|code| evaluator.evaluate_value(code as f32 / 255.0)))
        };
        let curves =
            Box::new([curve(&profile.red_trc)?, curve(&profile.green_trc)?, curve(&profile.blue_trc)?]);
        let matrix = profile.transform_matrix(&ColorProfile::new_srgb()).v;
        let sound = curves.iter().flatten().all(|value| value.is_finite())
            && matrix.iter().flatten().all(|value| value.is_finite() && value.abs() < 10.0);
        sound.then_some(Self { curves, to_srgb: Some(matrix) })
    }

    /// Whether no colour differs from sRGB by more than rounding.
    fn is_nearly_srgb(&self) -> bool {
        let levels = [0_u8, 51, 102, 153, 204, 255];
        levels.iter().all(|&r| {
            levels.iter().all(|&g| {
                levels.iter().all(|&b| {
                    self.srgb_code([r, g, b]).iter().zip([r, g, b]).all(|(a, b)| a.abs_diff(b) <= 1)
                })
            })
        })
    }

    /// Linear light of one pixel in sRGB primaries, 0 to 1; colours outside sRGB have components
    /// below 0 or above 1.
    #[inline]
    pub fn linear(&self, code: [u8; 3]) -> [f64; 3] {
        self.to_srgb_primaries(std::array::from_fn(|channel| {
            f64::from(self.curves[channel][usize::from(code[channel])])
        }))
    }

    /// Linear values of all codes of a channel, in the photo's own primaries.
    pub fn curve(&self, channel: usize) -> &[f32; 256] {
        &self.curves[channel]
    }

    /// Whether the photo's own primaries are those of sRGB.
    pub fn has_srgb_primaries(&self) -> bool {
        self.to_srgb.is_none()
    }

    /// From linear light in the photo's own primaries to that in sRGB's.
    #[inline]
    pub fn to_srgb_primaries(&self, own: [f64; 3]) -> [f64; 3] {
        match &self.to_srgb {
            None => own,
            Some(m) => {
                std::array::from_fn(|row| m[row][0] * own[0] + m[row][1] * own[1] + m[row][2] * own[2])
            }
        }
    }

    /// The pixel as an 8-bit sRGB code, cut off at the gamut's edge: for looking at.
    pub fn srgb_code(&self, code: [u8; 3]) -> [u8; 3] {
        self.linear(code).map(|value| {
            let encoded: f64 = Srgb::from_linear(value.clamp(0.0, 1.0));
            (encoded * 255.0).round() as u8
        })
    }
}
