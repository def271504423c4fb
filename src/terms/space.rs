//! Colour types, each with its light and its encoding in the name.

use palette::{Lab, LinSrgb, Oklab, white_point::D65};

/// Linear light in sRGB primaries, red, green, blue: what a photo's pixels say.
///
/// Components outside 0 to 1 are colours outside sRGB or brighter than white.
pub type Light = [f64; 3];

/// Linear light divided channel by channel by that of the bare paper in the same illumination.
///
/// A perfectly clear sample has 1 in every channel.
pub type Relative = [f64; 3];

/// The same as [`Relative`], as the colour library takes it.
pub type RelativeRgb = LinSrgb<f64>;

/// CIELAB under D65, with the card's bare paper as white.
pub type PaperLab = Lab<D65, f64>;

/// Oklab, with the card's bare paper as white.
pub type PaperOklab = Oklab<f64>;
