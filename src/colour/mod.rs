//! The photo's light and colours, made comparable with those of other photos of the same card.
//!
//! Takes a photo and the card found in it; gives the illumination over the card ([`Illumination`]),
//! the patches relative to bare paper ([`PatchColours`]), and the correction of this photo's colours
//! to those of a reference view of the same printed card ([`Correction`]).

pub mod area;
pub mod correction;
pub mod difference;
pub mod illumination;
pub mod mixed;
pub mod patches;
pub mod reference;

pub use area::{Area, AreaColour};
pub use correction::{Correction, CorrectionError};
pub use illumination::Illumination;
pub use mixed::MixedLight;
pub use patches::PatchColours;
pub use reference::{LampScore, ReferenceView};
