//! Rendered pastes: what was never photographed is drawn into rendered photos, true to the card.

use std::path::Path;

use image::{Rgb, RgbImage};
use tintwell::card::layout::{PointMm, RectMm, SLIP_SIZE_MM, TAG_MODULE_MM, TAG_SIZE_MM};
use tintwell::card::{CardView, tag36h11};
use tintwell::photo;
use tintwell::pipeline::{self, View};

use super::light::code_8_bit;
use super::reading;

/// Ink reflects this share of what paper does.
const INK: f64 = 0.05;
/// A pixel is the mean of so many points each way.
const POINTS: u32 = 3;

/// A slip laid on the card: id, middle in card millimetres, turned clockwise by degrees.
#[derive(Debug, Clone, Copy)]
pub struct Slip {
    /// Id of its tag.
    pub id: u16,
    /// Its middle.
    pub at: (f64, f64),
    /// How far it is turned.
    pub turned: f64,
}

/// A slip on the place to the left.
pub fn left(id: u16) -> Slip {
    Slip { id, at: (13.0, 50.0), turned: 0.0 }
}

/// A slip on the place to the right.
pub fn right(id: u16) -> Slip {
    Slip { id, at: (137.0, 50.0), turned: 0.0 }
}

/// A rendered photo with slips pasted into it, written as JPEG: white and black of the slip take the
/// light that the photo's own paper has there.
pub fn with_slips(photo: &str, slips: &[Slip], file: &Path) {
    let view = pipeline::look(photo::open(&reading::file(photo)).unwrap()).unwrap();
    let mut picture = view.photo.pixels.to_image();
    for slip in slips {
        paste(&mut picture, &view, slip);
    }
    let out = std::fs::File::create(file).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(out, 93).encode_image(&picture).unwrap();
}

fn paste(picture: &mut RgbImage, view: &View, slip: &Slip) {
    let card: &CardView = &view.card;
    let reach = RectMm::square_about(PointMm { x: slip.at.0, y: slip.at.1 }, 1.5 * SLIP_SIZE_MM);
    let corners = reach.corners().map(|corner| card.to_photo.apply((corner.x, corner.y)));
    let low = |pick: fn(&(f64, f64)) -> f64| corners.iter().map(pick).fold(f64::INFINITY, f64::min).max(0.0);
    let high = |pick: fn(&(f64, f64)) -> f64| corners.iter().map(pick).fold(0.0, f64::max);
    let (width, height) = picture.dimensions();
    for y in low(|p| p.1) as u32..(high(|p| p.1) as u32).min(height) {
        for x in low(|p| p.0) as u32..(high(|p| p.0) as u32).min(width) {
            if let Some(share) = reflected(card, slip, x, y) {
                let (mx, my) = card.to_card.apply((f64::from(x), f64::from(y)));
                let paper = view.light.at(PointMm { x: mx, y: my });
                picture.put_pixel(x, y, Rgb(paper.map(|light| code_8_bit(light * share))));
            }
        }
    }
}

/// Mean share of the light that the slip sends back over a pixel; `None` beside the slip.
fn reflected(card: &CardView, slip: &Slip, x: u32, y: u32) -> Option<f64> {
    let mut sum = 0.0;
    for k in 0..POINTS * POINTS {
        let offset = |k: u32| (f64::from(k) + 0.5) / f64::from(POINTS) - 0.5;
        let at = (f64::from(x) + offset(k % POINTS), f64::from(y) + offset(k / POINTS));
        sum += reflectance(slip, card.to_card.apply(at))?;
    }
    Some(sum / f64::from(POINTS * POINTS))
}

/// Reflectance of a slip at a point of the card.
fn reflectance(slip: &Slip, (x, y): (f64, f64)) -> Option<f64> {
    let (sin, cos) = slip.turned.to_radians().sin_cos();
    let (dx, dy) = (x - slip.at.0, y - slip.at.1);
    let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
    if u.abs().max(v.abs()) > SLIP_SIZE_MM / 2.0 {
        return None;
    }
    let module = |t: f64| ((t + TAG_SIZE_MM / 2.0) / TAG_MODULE_MM).floor();
    let (column, row) = (module(u), module(v));
    let inside = (0.0..8.0).contains(&column) && (0.0..8.0).contains(&row);
    let data = (1.0..7.0).contains(&column) && (1.0..7.0).contains(&row);
    let is_white = !inside
        || data
            && tag36h11::is_white(
                tag36h11::CODES[usize::from(slip.id)],
                row as usize - 1,
                column as usize - 1,
            );
    Some(if is_white { 1.0 } else { INK })
}
