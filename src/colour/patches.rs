//! The card's patches relative to the bare paper around them.

use super::area::{self, AreaColour};
use super::illumination::Illumination;
use crate::card::CardView;
use crate::card::layout::Patch;
use crate::photo::Photo;
use crate::terms::space::Relative;

/// Rim of a patch that is left out, mm: blur, sharpening and misregistration carry the paper in.
const INSET_MM: f64 = 1.6;
/// A patch with more clipped pixels is not used.
const MOST_CLIPPED: f64 = 0.05;

/// The patches of one photo, in the layout's order.
#[derive(Debug, Clone)]
pub struct PatchColours {
    /// Colour relative to bare paper; `None` where hidden, cut off or clipped.
    pub relative: Vec<Option<Relative>>,
    /// Number that were clipped.
    pub clipped: usize,
}

impl PatchColours {
    /// Measures every patch of the card.
    pub fn measure(photo: &Photo, view: &CardView, light: &Illumination) -> Self {
        let measured: Vec<Option<AreaColour>> = view
            .layout
            .patches
            .iter()
            .map(|patch| area::measure(photo, view, patch.rect.grown(-INSET_MM)))
            .collect();
        let is_clipped = |colour: &AreaColour| colour.clipped > MOST_CLIPPED;
        let clipped = measured.iter().flatten().filter(|colour| is_clipped(colour)).count();
        let relative = view
            .layout
            .patches
            .iter()
            .zip(measured)
            .map(|(patch, colour)| {
                colour
                    .filter(|colour| !is_clipped(colour))
                    .map(|colour| relative_to_paper(patch, &colour, light))
            })
            .collect();
        Self { relative, clipped }
    }
}

fn relative_to_paper(patch: &Patch, colour: &AreaColour, light: &Illumination) -> Relative {
    let paper = light.at(patch.rect.centre());
    std::array::from_fn(|channel| colour.light[channel] / paper[channel])
}
