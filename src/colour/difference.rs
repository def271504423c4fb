//! From light relative to paper to the perceptual spaces, and differences in them.

use palette::color_difference::Ciede2000;
use palette::{FromColor, IntoColor};

use crate::terms::space::{PaperLab, PaperOklab, Relative, RelativeRgb};

/// CIELAB (ISO/CIE 11664-4) with the paper as white.
pub fn lab(relative: Relative) -> PaperLab {
    PaperLab::from_color(RelativeRgb::from(relative))
}

/// Oklab with the paper as white.
pub fn oklab(relative: Relative) -> PaperOklab {
    RelativeRgb::from(relative).into_color()
}

/// CIEDE2000 (ISO/CIE 11664-6).
pub fn ciede2000(a: Relative, b: Relative) -> f64 {
    lab(a).difference(lab(b))
}
