//! The colour of a small area of the card, in linear light.

use crate::card::CardView;
use crate::card::layout::{PointMm, RectMm};
use crate::photo::Photo;
use crate::terms::space::Light;

/// An upright rectangle on the card, millimetres.
pub type Area = RectMm;

/// Fewer pixels say too little about an area.
const LEAST_PIXELS: usize = 6;
/// Share cut off at either end of each channel before the mean: dust, fibres, the neighbour's rim.
const TRIM: f64 = 0.15;
/// About so many pixels tell the noise of single ones.
const NOISE_PIXELS: usize = 400;
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

/// Measures the area by about so many of its pixels at most; `None` if too little of it lies in the
/// picture.
pub fn measure(photo: &Photo, view: &CardView, area: Area, most_pixels: f64) -> Option<AreaColour> {
    let codes = pixel_codes(photo, view, area, most_pixels)?;
    let clipped = codes.iter().filter(|code| code.iter().any(|&value| value >= CLIPPED_CODE)).count();
    let mut counts = [[0_u32; 256]; 3];
    for code in &codes {
        (0..3).for_each(|channel| counts[channel][usize::from(code[channel])] += 1);
    }
    // A channel's values rise with its codes, so counting the codes sorts the values.
    let own = std::array::from_fn(|channel| {
        trimmed_mean(&counts[channel], photo.encoding.curve(channel), codes.len())
    });
    let light = photo.encoding.to_srgb_primaries(own);
    let level = light.iter().sum::<f64>() / 3.0;
    let levels: Vec<f64> = codes
        .iter()
        .step_by((codes.len() / NOISE_PIXELS) | 1)
        .map(|&code| photo.encoding.linear(code).iter().sum::<f64>() / 3.0)
        .collect();
    let noise = crate::math::stats::robust_sigma(&levels)? / level.max(1e-4);
    Some(AreaColour { light, noise, clipped: clipped as f64 / codes.len() as f64, pixels: codes.len() })
}

/// Codes of the pixels whose centres lie in the area, thinned evenly; `None` if there are too few.
fn pixel_codes(photo: &Photo, view: &CardView, area: Area, most_pixels: f64) -> Option<Vec<[u8; 3]>> {
    let spacing = (area.width() * area.height() / most_pixels).sqrt().max(1.0 / view.pixels_per_mm);
    let columns = (area.width() / spacing).ceil().max(1.0);
    let rows = (area.height() / spacing).ceil().max(1.0);
    let mut codes = Vec::with_capacity((columns * rows) as usize);
    let across: Vec<f64> = (0..columns as usize)
        .map(|column| area.x0 + area.width() * (column as f64 + 0.5) / columns)
        .collect();
    for row in 0..rows as usize {
        let y = area.y0 + area.height() * (row as f64 + 0.5) / rows;
        codes.extend(across.iter().filter_map(|&x| code_at(photo, view, PointMm { x, y })));
    }
    let wanted = (columns * rows) as usize;
    (codes.len() >= LEAST_PIXELS && codes.len() * 2 > wanted).then_some(codes)
}

/// Code of the pixel nearest to a place on the card; `None` outside the picture.
pub fn code_at(photo: &Photo, view: &CardView, place: PointMm) -> Option<[u8; 3]> {
    let (x, y) = view.to_photo.apply((place.x, place.y));
    let (x, y) = (x + 0.5, y + 0.5);
    // Casting towards zero is rounding down here, and much cheaper.
    if x >= 0.0 && y >= 0.0 { photo.pixels.get(x as u32, y as u32) } else { None }
}

/// Mean of what is left after cutting off the extremes: how often each code occurs, what it means, and
/// how many pixels there are.
fn trimmed_mean(counts: &[u32; 256], values: &[f32; 256], pixels: usize) -> f64 {
    let cut = (pixels as f64 * TRIM) as usize;
    let (mut seen, mut sum) = (0, 0.0);
    for (&count, &value) in counts.iter().zip(values).filter(|&(&count, _)| count > 0) {
        let next = seen + count as usize;
        let kept = next.min(pixels - cut).saturating_sub(seen.max(cut));
        sum += kept as f64 * f64::from(value);
        seen = next;
    }
    sum / (pixels - 2 * cut) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_trimmed_mean_leaves_out_the_same_share_at_both_ends() {
        let values: [f32; 256] = std::array::from_fn(|code| code as f32);
        let mut counts = [0; 256];
        // Ten pixels: one is cut off at either end, a part of those with code 40 among them.
        for (code, count) in [(3, 1), (40, 5), (50, 3), (255, 1)] {
            counts[code] = count;
        }
        assert_eq!(trimmed_mean(&counts, &values, 10), (5.0 * 40.0 + 3.0 * 50.0) / 8.0);
        counts[255] = 11;
        // Twenty pixels: three are cut off at either end.
        assert_eq!(trimmed_mean(&counts, &values, 20), (3.0 * 40.0 + 3.0 * 50.0 + 8.0 * 255.0) / 14.0);
    }
}
