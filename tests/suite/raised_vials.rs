//! Vials that are held before the card or stand higher than it: below their base bare card is seen, which
//! must not pass for clear liquid. The pictures are rendered photos altered for that: what stands in the
//! window is moved up. They prove nothing of a real photo.

use image::RgbImage;
use rayon::prelude::*;
use tintwell::card::layout::PointMm;
use tintwell::photo;
use tintwell::pipeline::{self, View};

use crate::support::light::{code_8_bit, light_at};
use crate::support::reading::{self, Fate};

/// What is moved: the window's inside down to the card's lower rim, mm.
const COLUMNS_MM: (f64, f64) = (58.0, 92.0);
const ROWS_MM: (f64, f64) = (9.0, 98.5);

/// The photo with what stands in the window so much higher, and bare paper below it.
fn raised(view: &View, up_mm: f64) -> RgbImage {
    let mut picture = view.photo.to_srgb();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let (mx, my) = view.card.to_card.apply((f64::from(x), f64::from(y)));
        let is_moved = (COLUMNS_MM.0..COLUMNS_MM.1).contains(&mx) && (ROWS_MM.0..ROWS_MM.1).contains(&my);
        if !is_moved {
            continue;
        }
        let paper = view.light.at(PointMm { x: mx, y: my });
        let there = PointMm { x: mx, y: my + up_mm };
        let light = if there.y < ROWS_MM.1 {
            // The card's light falls on the vial where it now is.
            let seen = light_at(view, view.card.to_photo.apply((there.x, there.y)));
            let from = view.light.at(there);
            std::array::from_fn(|k| seen[k] / from[k] * paper[k])
        } else {
            paper
        };
        pixel.0 = light.map(code_8_bit);
    }
    picture
}

/// Two heights of each photo.
const RAISED: [(u8, [f64; 2]); 8] = [
    (3, [6.0, 13.5]),
    (4, [11.0, 17.0]),
    (5, [6.0, 13.5]),
    (6, [11.0, 17.0]),
    (7, [6.0, 13.5]),
    (9, [11.0, 17.0]),
    (10, [6.0, 13.5]),
    (11, [11.0, 17.0]),
];

/// Nitrite is the worst of kits here: its blank is nearly as clear as paper.
#[test]
fn a_vial_that_stands_high_is_read_as_one_that_stands_on_the_table() {
    let chart = reading::chart("rendered-nitrite");
    let fates = |(number, heights): &(u8, [f64; 2])| {
        let photo = photo::open(&reading::file(&format!("nitrite_unknown/{number:03}.jpg"))).unwrap();
        let sound = reading::read(photo.clone(), &chart);
        let view = pipeline::look(photo).unwrap();
        heights.map(|up_mm| {
            let after = reading::read(reading::with_pixels(&view.photo, raised(&view, up_mm)), &chart);
            let fate = Fate::of(&after, &sound, &chart);
            assert!(fate != Fate::Wrong && fate != Fate::Moved, "{number}, {up_mm} mm: {after:?}");
            fate
        })
    };
    let fates: Vec<Fate> = RAISED.par_iter().flat_map_iter(fates).collect();
    let same = fates.iter().filter(|fate| **fate == Fate::Same).count();
    // Where the vial's shadow is cut off beside the window, what is left of it passes for a second vial.
    assert!(2 * same > fates.len(), "{same} of {} read alike", fates.len());
}
