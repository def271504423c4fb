//! The card's patches relative to the bare paper around them.

use super::area::{self, AreaColour};
use super::illumination::Illumination;
use crate::card::CardView;
use crate::card::layout::Patch;
use crate::photo::Photo;
use crate::terms::space::Relative;

/// Rim of a patch that is left out, mm: blur, sharpening and misregistration carry the paper in.
const INSET_MM: f64 = 1.6;
/// Pixels of a patch that are looked at, at most; more add nothing but time.
const PATCH_PIXELS: f64 = 1000.0;
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
            .map(|patch| area::measure(photo, view, patch.rect.grown(-INSET_MM), PATCH_PIXELS))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{card, photo};

    #[test]
    fn a_patch_that_is_clipped_at_white_is_left_out_and_counted() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/photos/ammonia_unknown/004.jpg");
        let sound = photo::open(file.as_ref()).unwrap();
        let view = card::find(&sound.pixels).unwrap();
        let light = Illumination::fit(&sound, &view).unwrap();
        let all = PatchColours::measure(&sound, &view, &light);
        assert!(all.clipped == 0 && all.relative.iter().all(Option::is_some));
        let mut picture = sound.pixels.to_image();
        let patch = view.layout.patches[5].rect;
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            let (x, y) = view.to_card.apply((x.into(), y.into()));
            if patch.contains(crate::card::layout::PointMm { x, y }) {
                pixel.0 = [255; 3];
            }
        }
        let glaring = Photo { pixels: picture.into(), ..sound };
        let seen = PatchColours::measure(&glaring, &view, &light);
        assert_eq!((seen.clipped, seen.relative[5]), (1, None));
    }
}
