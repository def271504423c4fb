//! A 12-megapixel photo as a phone would save it.

use image::RgbImage;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use tintwell::chart::matching::typical_light;
use tintwell::chart::{Chart, Circumstances};
use tintwell::sample::Veil;

/// A rendered photo of 4032 by 3024 pixels; its vial holds ammonia.
const RENDERED: &str = "fixtures/photos/ammonia_unknown/006.jpg";
/// Noise of a pixel, 8-bit steps: rendered photos have less than phones'.
const NOISE: f64 = 5.0;
/// JPEG quality, percent, with colour at half scale each way.
const QUALITY: u8 = 93;

/// What the darkest light in a vial usually allows.
pub const VEIL: Veil = Veil { least: 0.0, most: 0.12, chance: 0.1, misled: 0.1 };

/// Path of a file of the repository.
pub fn file(name: &str) -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The rendered photo with seeded noise, as a JPEG file of some megabytes.
pub fn twelve_megapixels() -> Vec<u8> {
    let mut picture: RgbImage = image::open(file(RENDERED)).unwrap().into_rgb8();
    let mut random = Pcg64Mcg::seed_from_u64(12);
    let noise = Normal::new(0.0, NOISE).unwrap();
    // A table of draws, met in a scrambled order, is as good here and much faster.
    let draws: Vec<f64> = (0..65_537).map(|_| noise.sample(&mut random)).collect();
    for (k, value) in picture.iter_mut().enumerate() {
        *value = (f64::from(*value) + draws[k.wrapping_mul(40_503) % draws.len()]).round() as u8;
    }
    let mut jpeg = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut jpeg, QUALITY);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_2_2);
    let (width, height) = picture.dimensions();
    encoder.encode(&picture, width as u16, height as u16, jpeg_encoder::ColorType::Rgb).unwrap();
    jpeg
}

/// A thousand colours all over a chart, a little beside its path, with what their photos tell.
pub fn colours(chart: &Chart) -> Vec<([f64; 3], Circumstances)> {
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let mut random = Pcg64Mcg::seed_from_u64(3);
    let aside = Normal::new(0.0, 0.03).unwrap();
    (0..1000)
        .map(|k| {
            let value = path.first() + (path.last() - path.first()) * f64::from(k) / 1000.0;
            let colour = typical_light(path, value).map(|light| light * f64::exp(aside.sample(&mut random)));
            let residual = 0.02 + 0.02 * f64::from(k % 5);
            let lamp = (aside.sample(&mut random), 0.3);
            (colour, Circumstances { residual, hue_shift: 0.03, lamp, mixed: [0.0; 3], unevenness: 0.0 })
        })
        .collect()
}
