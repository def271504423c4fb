//! Two vials side by side before one window, and single ones of all widths: rendered by `support/vials.rs`,
//! with invented dyes. `TINTWELL_VIALS=300` tries so many of each, and says how they fared.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use tintwell::card::layout::VERSION_1;
use tintwell::photo::Photo;
use tintwell::pipeline::{self, Refusal};
use tintwell::sample::{Sample, SampleError};

use crate::support::vials::{Scene, Vial};

/// How many of each are tried.
fn count() -> u64 {
    std::env::var("TINTWELL_VIALS").map_or(12, |count| count.parse().expect("a number"))
}

/// A liquid of one of three invented kits.
fn liquid(random: &mut Pcg64) -> [f64; 3] {
    let value: f64 = random.random();
    match random.random_range(0..3) {
        0 => [0.04 + 0.9 * value, 0.05 + 0.15 * value, 0.40 - 0.05 * value],
        1 => [0.12 + 0.05 * value, 0.05 + value, 0.02 + 0.35 * value],
        _ => [0.03 + 0.06 * value, 0.08 + 0.9 * value, 0.30 + 0.45 * value],
    }
}

fn seen(vials: Vec<Vial>, seed: u64) -> Result<Sample, Refusal> {
    let light = [[0.85, 0.86, 0.84], [0.92, 0.80, 0.62]][seed as usize % 2];
    let scene = Scene { layout: &VERSION_1, vials, strips: Vec::new(), light, seed };
    let mut bytes = Vec::new();
    scene.render().write_to(&mut std::io::Cursor::new(&mut bytes), image::ImageFormat::Png).unwrap();
    let photo: Photo = tintwell::photo::from_bytes(&bytes).unwrap();
    pipeline::vial_in(&pipeline::look(photo)?, VERSION_1.windows[0]).map(|(sample, _)| sample)
}

/// Whether what was measured lies about the axis of one of them.
fn is_of_one(sample: &Sample, vials: &[Vial]) -> bool {
    let middle = sample.area.iter().map(|corner| corner.x).sum::<f64>() / 4.0;
    vials.iter().any(|vial| (vial.x - middle).abs() < 0.1 * vial.width)
}

/// Pairs of 8 to 20 mm, up to 4 mm apart, every other one of the same liquid: they are refused, or one of
/// them is measured for itself.
#[test]
fn few_pairs_of_vials_are_taken_for_one() {
    let middle = VERSION_1.windows[0].centre().x;
    let (mut refused, mut alone, mut together) = (0, 0, Vec::new());
    for seed in 0..count() {
        let mut random = Pcg64::seed_from_u64(7_000 + seed);
        let [a, b] = [(); 2].map(|()| 8.0 + 12.0 * random.random::<f64>());
        let gap = if seed % 3 == 0 { 0.0 } else { 4.0 * random.random::<f64>() };
        let seam = middle + 25.0 * (random.random::<f64>() - 0.5);
        let first = liquid(&mut random);
        let second = if seed % 2 == 0 { first } else { liquid(&mut random) };
        let vials = vec![
            Vial { x: seam - a / 2.0, width: a, absorbance: first },
            Vial { x: seam + gap + b / 2.0, width: b, absorbance: second },
        ];
        match seen(vials.clone(), seed) {
            Err(_) => refused += 1,
            Ok(sample) if is_of_one(&sample, &vials) => alone += 1,
            Ok(_) => together.push(format!("{seed}: {a:.1} and {b:.1} mm, {gap:.1} apart")),
        }
    }
    eprintln!("{refused} refused, {alone} of one alone, {} of both: {together:?}", together.len());
    assert!(20 * together.len() as u64 <= count(), "{together:?}");
}

/// Vials of 8 to 26 mm anywhere in the window.
#[test]
fn no_single_vial_is_taken_for_two() {
    let window = VERSION_1.windows[0];
    for seed in 0..count() {
        let mut random = Pcg64::seed_from_u64(9_000 + seed);
        let width = 8.0 + 18.0 * random.random::<f64>();
        let room = (window.width() - width - 3.0).max(0.0);
        let x = window.centre().x + room * (random.random::<f64>() - 0.5);
        let vial = Vial { x, width, absorbance: liquid(&mut random) };
        let seen = seen(vec![vial], seed);
        let is_two = matches!(&seen, Err(Refusal::Sample(SampleError::SeveralVials)));
        assert!(!is_two, "{seed}: {width:.1} mm");
    }
}
