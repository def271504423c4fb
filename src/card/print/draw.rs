//! A card's layout, or a slip, as things on a page; origin at its own top left corner.

use super::glyphs;
use super::scene::{BLACK, Item};
use crate::card::layout::{
    Layout, OUTLINE_GREY, PAPER_OUTLINE_MM, PatchKind, RectMm, SLIP_SIZE_MM, TAG_MODULE_MM, TAG_MODULES,
    TAG_SIZE_MM, WINDOW_OUTLINE_MM,
};
use crate::card::tag36h11;

/// Height of capitals in a window's label, mm.
const LABEL_HEIGHT_MM: f64 = 3.0;

/// All that is printed within the card's edge; labels go to the windows from the left.
pub(super) fn card(layout: &Layout, labels: &[String]) -> Vec<Item> {
    let tags = layout.tags.iter().map(|tag| self::tag(tag.id, tag.x0, tag.y0));
    let patches = layout.patches.iter().map(|patch| match patch.kind {
        PatchKind::Paper => {
            Item::frame_around(patch.rect.grown(-PAPER_OUTLINE_MM), PAPER_OUTLINE_MM, OUTLINE_GREY)
        }
        PatchKind::Neutral | PatchKind::Colour => Item::rect(patch.rect, patch.nominal_srgb),
    });
    let windows =
        layout.windows.iter().map(|&window| Item::frame_around(window, WINDOW_OUTLINE_MM, OUTLINE_GREY));
    let words = layout.label_places.iter().zip(labels).map(|(place, label)| {
        let baseline = place.centre().y + LABEL_HEIGHT_MM / 2.0;
        glyphs::centred(label, place.centre().x, baseline, LABEL_HEIGHT_MM)
    });
    let bar = Item::rect(layout.scale_bar, BLACK);
    tags.chain(patches).chain(windows).chain(words).chain([bar]).collect()
}

/// A slip with its tag in the middle.
pub(super) fn slip(id: u16) -> Item {
    let edge = (SLIP_SIZE_MM - TAG_SIZE_MM) / 2.0;
    tag(id, edge, edge)
}

/// The black modules of a tag whose black square starts at (`x0`, `y0`): runs along each row, as one shape.
fn tag(id: u16, x0: f64, y0: f64) -> Item {
    let mut rects = Vec::new();
    for row in 0..TAG_MODULES {
        let mut column = 0;
        while column < TAG_MODULES {
            let run = (column..TAG_MODULES).take_while(|&c| is_black(id, row, c)).count();
            if run > 0 {
                let (x, y) = (x0 + TAG_MODULE_MM * column as f64, y0 + TAG_MODULE_MM * row as f64);
                rects.push(RectMm::at(x, y, TAG_MODULE_MM * run as f64, TAG_MODULE_MM));
            }
            column += run.max(1);
        }
    }
    Item::Fill { rects, rgb: BLACK }
}

/// Whether a module of the 8 x 8 is black: the border is, and the code's zeros are.
fn is_black(id: u16, row: usize, column: usize) -> bool {
    let inner = 1..=tag36h11::DATA_MODULES;
    let is_border = !inner.contains(&row) || !inner.contains(&column);
    is_border || !tag36h11::is_white(tag36h11::CODES[usize::from(id)], row - 1, column - 1)
}
