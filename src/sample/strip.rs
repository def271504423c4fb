//! A dip strip lying in the window: where it is, which way round, and the colour of each pad.
//!
//! [`Lying`] finds the strip's axis by its long edges and traces colours along it; [`Strip::measure`]
//! lays a known [`StripForm`] on that trace and measures the pads; [`learn`] makes a form from the
//! traces of several photos.

mod axis;
mod bare;
mod form;
mod learn;
mod pad;
mod place;
mod runs;
mod trace;

use super::raster::Raster;
use super::veil::Around;
use super::vial::{Sample, SampleError};
use crate::card::CardView;
use crate::card::layout::RectMm;
use crate::colour::Illumination;
use crate::photo::Photo;

pub use form::{Pad, StripForm};
pub use learn::{LearnError, learn};
pub use runs::outlines;
pub use trace::Lying;
pub(super) use trace::{Lab, distance, lab, median_lab};

/// Kept clear of the window's outline, mm.
const OUTLINE_CLEARANCE_MM: f64 = 0.7;
/// Spacing of the grid on which the window is looked at, mm.
const GRID_MM: f64 = 0.25;

/// A strip found, with its pads from the dipped end.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Whether the dipped end points to the card's lower edge.
    pub is_reversed: bool,
    /// The pads; one that is missing or covered does not keep the others from being read.
    pub pads: Vec<Result<PadSample, SampleError>>,
}

/// A measured pad.
#[derive(Debug, Clone, PartialEq)]
pub struct PadSample {
    /// Its colour and place.
    pub sample: Sample,
    /// Whether it looks like the bare strip: a pale pad, or none.
    pub is_bare: bool,
}

/// Finds whatever strip lies in a window and traces it.
///
/// # Errors
/// There is none.
pub fn trace_strip(
    photo: &Photo,
    view: &CardView,
    light: &Illumination,
    window: RectMm,
) -> Result<Lying, SampleError> {
    let raster = Raster::sample(photo, view, light, window.grown(-OUTLINE_CLEARANCE_MM), GRID_MM);
    Lying::find(raster)
}

impl Strip {
    /// Lays a known form on a strip that was traced, and measures its pads.
    ///
    /// # Errors
    /// The strip is of another form.
    pub fn measure(lying: &Lying, form: &StripForm) -> Result<Self, SampleError> {
        let place = place::find(lying, form)?;
        let whole = bare::whole(lying, form, &place);
        let around = |pad: &Pad| bare::beside(lying, form, &place, pad, whole?).map(Around::Strip);
        let measure = |pad: &Pad| {
            let mut seen = pad::measure(lying, &place, pad)?;
            seen.sample.around = around(pad);
            Ok(seen)
        };
        Ok(Self { is_reversed: place.is_reversed, pads: form.pads.iter().map(measure).collect() })
    }
}
