//! The sample in the card's window: where the vial's liquid or the strip's pads are, and their colour.
//!
//! Takes the photo, the card found in it and the light on the card; gives a [`Sample`]: a robust
//! colour relative to bare paper, the area it was taken from, and doubts.

pub mod raster;
pub mod strip;
pub mod swatches;
mod touching;
pub mod veil;
pub mod vial;

mod column;
mod liquid;
mod walls;

pub use strip::{Pad, PadSample, Strip, StripForm, trace_strip};
pub use swatches::{Swatch, find_swatches};
pub use veil::{Around, BareStrip, Veil};
pub use vial::{Sample, SampleError, find_vial};
