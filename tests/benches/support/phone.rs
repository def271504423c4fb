//! A 12-megapixel photo as a phone would save it.

use image::RgbImage;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

/// A rendered photo of 4032 by 3024 pixels; its vial holds ammonia.
const RENDERED: &str = "fixtures/photos/ammonia_unknown/006.jpg";
/// Noise of a pixel, 8-bit steps: rendered photos have less than phones'.
const NOISE: f64 = 5.0;
/// JPEG quality, percent, with colour at half scale each way.
const QUALITY: u8 = 93;

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
