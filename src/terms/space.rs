//! Colour types, each with its light and its encoding in the name.

use palette::{Lab, LinSrgb, Oklab, white_point::D65};

/// Light as it fell on the sensor, or reflectance relative to the bare paper: linear, sRGB primaries.
pub type LinearRgb = LinSrgb<f64>;

/// CIELAB under D65, with the card's bare paper as white.
pub type PaperLab = Lab<D65, f64>;

/// Oklab, with the card's bare paper as white.
pub type PaperOklab = Oklab<f64>;
