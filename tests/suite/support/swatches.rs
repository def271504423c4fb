//! Renders a printed colour scale into the window of a rendered photo: flat print under that photo's own
//! light, through its own projection and its phone's own colours. It shows no real kit's scale.

use std::path::Path;

use image::RgbImage;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use tintwell::card::layout::PointMm;
use tintwell::chart::Chart;
use tintwell::colour::{Correction, PatchColours};
use tintwell::photo;
use tintwell::pipeline::{self, View};
use tintwell::terms::space::Relative;

use super::light::code;

/// Samples of a pixel each way.
const FINE: i32 = 3;
/// Noise of a pixel, codes.
const NOISE: f64 = 2.0;

/// What lies at a place of the window, mm.
pub enum Print {
    /// The leaflet's paper.
    Paper,
    /// A swatch of a colour.
    Swatch(usize),
    /// Printed lettering.
    Ink,
    /// Whatever the photo shows there.
    Photo,
}

/// The photo with a leaflet in its window; `colours` are those of the swatches in the chart's reference
/// view.
pub fn rendered(
    photo: &Path,
    chart: &Chart,
    colours: &[Relative],
    print: impl Fn(PointMm) -> Print,
) -> RgbImage {
    let view = pipeline::look(photo::open(photo).unwrap()).unwrap();
    let as_seen: Vec<Relative> = colours.iter().map(|colour| in_photo(&view, chart, *colour)).collect();
    let mut picture = view.photo.to_srgb();
    let mut random = Pcg64::seed_from_u64(7);
    let window = view.card.layout.windows[0];
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let place = at(&view, f64::from(x), f64::from(y));
        if !window.grown(1.0).contains(place) {
            continue;
        }
        let paper = view.light.at(place);
        let mut sum = [0.0; 3];
        for k in 0..FINE * FINE {
            let part = |i: i32| f64::from(i) / f64::from(FINE) - 1.0 / 3.0;
            let place = at(&view, f64::from(x) + part(k % FINE), f64::from(y) + part(k / FINE));
            let light = match if window.contains(place) { print(place) } else { Print::Photo } {
                Print::Paper => paper.map(|light| 0.97 * light),
                Print::Swatch(k) => std::array::from_fn(|channel| paper[channel] * as_seen[k][channel]),
                Print::Ink => paper.map(|light| 0.05 * light),
                Print::Photo => view.photo.encoding.linear(pixel.0),
            };
            (0..3).for_each(|channel| sum[channel] += light[channel] / f64::from(FINE * FINE));
        }
        let noise = NOISE * (random.random::<f64>() + random.random::<f64>() - 1.0);
        pixel.0 = sum.map(|light| (code(light) + noise).round().clamp(0.0, 255.0) as u8);
    }
    picture
}

fn at(view: &View, x: f64, y: f64) -> PointMm {
    let (x, y) = view.card.to_card.apply((x, y));
    PointMm { x, y }
}

/// A colour of the reference view as this photo's phone shows it.
fn in_photo(view: &View, chart: &Chart, colour: Relative) -> Relative {
    let reference = chart.reference.patches.iter().copied().map(Some).collect();
    let own: Vec<Relative> = view.patches.relative.iter().map(|patch| patch.unwrap()).collect();
    Correction::fit(&PatchColours { relative: reference, clipped: 0 }, &own).unwrap().apply(colour)
}

/// Squares of `side` mm in a column from the window's top or a row from its left, `gap` mm apart.
pub fn squares(count: usize, side: f64, gap: f64, is_row: bool) -> impl Fn(PointMm) -> Print {
    move |place: PointMm| {
        let (along, across) =
            if is_row { (place.x - 57.0, place.y - 50.0) } else { (place.y - 8.0, place.x - 75.0) };
        let s = along - 1.5;
        let k = (s / (side + gap)).floor();
        let inside =
            k >= 0.0 && (k as usize) < count && s - k * (side + gap) < side && across.abs() < side / 2.0;
        if inside { Print::Swatch(k as usize) } else { Print::Paper }
    }
}
