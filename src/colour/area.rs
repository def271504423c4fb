//! The colour of a small area of the card, in linear light.

use crate::card::CardView;
use crate::card::layout::{PointMm, RectMm};
use crate::photo::Photo;
use crate::terms::space::Light;

/// An upright rectangle on the card, millimetres.
pub type Area = RectMm;

/// At most about this many pixels of an area are looked at; more add nothing but time.
const MOST_PIXELS: f64 = 1600.0;
/// Fewer pixels say too little about an area.
const LEAST_PIXELS: usize = 6;
/// Share cut off at either end of each channel before the mean: dust, fibres, the neighbour's rim.
const TRIM: f64 = 0.15;
/// Codes from here up count as clipped at white: sharpening and JPEG keep them from staying at 255.
const CLIPPED_CODE: u8 = 253;

/// Mean colour of an area and how trustworthy it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AreaColour {
    /// Trimmed mean, linear light in sRGB primaries.
    pub light: Light,
    /// Standard deviation of single pixels in the mean of the channels, relative to the mean.
    pub noise: f64,
    /// Share of pixels in which a channel is clipped at white.
    pub clipped: f64,
    /// Pixels looked at.
    pub pixels: usize,
}

/// Measures the area; `None` if too little of it lies in the picture.
pub fn measure(photo: &Photo, view: &CardView, area: Area) -> Option<AreaColour> {
    let codes = pixel_codes(photo, view, area)?;
    let lights: Vec<Light> = codes.iter().map(|&code| photo.encoding.linear(code)).collect();
    let clipped = codes.iter().filter(|code| code.iter().any(|&value| value >= CLIPPED_CODE)).count();
    let light: Light = std::array::from_fn(|channel| trimmed_mean(&lights, |light| light[channel]));
    let level = light.iter().sum::<f64>() / 3.0;
    let sums: Vec<f64> = lights.iter().map(|light| light.iter().sum::<f64>() / 3.0).collect();
    let noise = crate::math::stats::robust_sigma(&sums)? / level.max(1e-4);
    Some(AreaColour { light, noise, clipped: clipped as f64 / codes.len() as f64, pixels: codes.len() })
}

/// Codes of the pixels whose centres lie in the area, thinned evenly; `None` if there are too few.
fn pixel_codes(photo: &Photo, view: &CardView, area: Area) -> Option<Vec<[u8; 3]>> {
    let spacing = (area.width() * area.height() / MOST_PIXELS).sqrt().max(1.0 / view.pixels_per_mm);
    let columns = (area.width() / spacing).ceil().max(1.0);
    let rows = (area.height() / spacing).ceil().max(1.0);
    let mut codes = Vec::with_capacity((columns * rows) as usize);
    for row in 0..rows as usize {
        for column in 0..columns as usize {
            let x = area.x0 + area.width() * (column as f64 + 0.5) / columns;
            let y = area.y0 + area.height() * (row as f64 + 0.5) / rows;
            codes.extend(code_at(photo, view, PointMm { x, y }));
        }
    }
    let wanted = (columns * rows) as usize;
    (codes.len() >= LEAST_PIXELS && codes.len() * 2 > wanted).then_some(codes)
}

/// Code of the pixel nearest to a place on the card; `None` outside the picture.
pub fn code_at(photo: &Photo, view: &CardView, place: PointMm) -> Option<[u8; 3]> {
    let (x, y) = view.to_photo.apply((place.x, place.y));
    let inside = x >= -0.5
        && y >= -0.5
        && x < f64::from(photo.pixels.width()) - 0.5
        && y < f64::from(photo.pixels.height()) - 0.5;
    inside.then(|| photo.pixels.get_pixel(x.round() as u32, y.round() as u32).0)
}

/// Mean of what is left after cutting off the extremes.
fn trimmed_mean(lights: &[Light], value: impl Fn(&Light) -> f64) -> f64 {
    let mut values: Vec<f64> = lights.iter().map(value).collect();
    let cut = (values.len() as f64 * TRIM) as usize;
    values.sort_unstable_by(f64::total_cmp);
    let kept = &values[cut..values.len() - cut];
    kept.iter().sum::<f64>() / kept.len() as f64
}
