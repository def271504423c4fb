//! What decoding at a reduced scale would do to colours: `cargo bench --bench scaled`.
//!
//! A JPEG decoded at half or a quarter of its size shows the means of gamma-coded values over squares
//! of two or four pixels (a decoder's own filter differs from a mean by little). Such a mean lies below
//! the mean of the light, by more the noisier the pixels are, and by more in dark colours. Each
//! rendered photo, with noise added, is measured whole and so reduced; the table shows CIEDE2000
//! between the two, over the card's patches and over the liquid, relative to the paper.

#[path = "../suite/support/reading.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod reading;

use image::RgbImage;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use reading::{file, with_pixels};
use tintwell::colour::difference::ciede2000;
use tintwell::math::stats;
use tintwell::photo::{self, Photo};
use tintwell::pipeline;
use tintwell::terms::space::Relative;

/// Kinds of rendered photos, twelve each.
const KINDS: [&str; 3] = ["ammonia_unknown", "nitrite_unknown", "ph_unknown"];
/// Noise added to each 8-bit value, one standard deviation.
const NOISES: [f64; 3] = [0.0, 5.0, 12.0];
/// Pixels that are averaged along each side.
const SCALES: [u32; 2] = [2, 4];

/// Colours of the patches, and of the liquid, that a photo shows.
fn colours(photo: &Photo) -> Option<(Vec<Option<Relative>>, Option<Relative>)> {
    let view = pipeline::look(photo.clone()).ok()?;
    let liquid = pipeline::vial_in(&view, view.card.layout.windows[0]).ok();
    Some((view.patches.relative, liquid.map(|(sample, _)| sample.colour)))
}

fn noisy(picture: &RgbImage, noise: f64) -> RgbImage {
    let mut random = Pcg64Mcg::seed_from_u64(8);
    let law = Normal::new(0.0, noise).unwrap();
    let mut picture = picture.clone();
    picture.iter_mut().for_each(|value| *value = (f64::from(*value) + law.sample(&mut random)).round() as u8);
    picture
}

/// Means of gamma-coded values.
fn reduced(picture: &RgbImage, scale: u32) -> RgbImage {
    RgbImage::from_fn(picture.width() / scale, picture.height() / scale, |x, y| {
        let mut sums = [scale * scale / 2; 3];
        for (dx, dy) in (0..scale).flat_map(|dy| (0..scale).map(move |dx| (dx, dy))) {
            let pixel = picture.get_pixel(x * scale + dx, y * scale + dy);
            (0..3).for_each(|k| sums[k] += u32::from(pixel.0[k]));
        }
        image::Rgb(sums.map(|sum| (sum / (scale * scale)) as u8))
    })
}

/// Differences over all patches, and of the liquid.
fn differences(photo: &Photo, noise: f64, scale: u32) -> Option<(Vec<f64>, Option<f64>)> {
    let picture = noisy(&photo.pixels.to_image(), noise);
    let (patches, liquid) = colours(&with_pixels(photo, picture.clone()))?;
    let (own, own_liquid) = colours(&with_pixels(photo, reduced(&picture, scale)))?;
    let of_patches = patches.into_iter().zip(own).filter_map(|(a, b)| Some(ciede2000(a?, b?))).collect();
    Some((of_patches, liquid.zip(own_liquid).map(|(a, b)| ciede2000(a, b))))
}

fn main() {
    let photos: Vec<Photo> = KINDS
        .iter()
        .flat_map(|kind| (1..=12).map(move |k| format!("{kind}/{k:03}.jpg")))
        .map(|name| photo::open(&file(&name)).unwrap())
        .collect();
    println!("noise scale | patches: median 95th largest | liquid: median 95th largest | photos");
    for (noise, scale) in NOISES.into_iter().flat_map(|noise| SCALES.map(|scale| (noise, scale))) {
        let all: Vec<_> = photos.par_iter().filter_map(|photo| differences(photo, noise, scale)).collect();
        let patches: Vec<f64> = all.iter().flat_map(|(patches, _)| patches.iter().copied()).collect();
        let liquids: Vec<f64> = all.iter().filter_map(|(_, liquid)| *liquid).collect();
        let row = |values: &[f64]| {
            [0.5, 0.95, 1.0].map(|p| format!("{:.3}", stats::quantile(values, p).unwrap())).join(" ")
        };
        println!("{noise:5} 1/{scale}   | {} | {} | {}", row(&patches), row(&liquids), all.len());
    }
}
