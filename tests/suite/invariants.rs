//! What must not change a reading, and which way things must go: properties of the whole image path.
//!
//! All photos are rendered.

use std::sync::LazyLock;

use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use tintwell::card::CardView;
use tintwell::card::layout::PointMm;
use tintwell::chart::{Chart, Circumstances, Outcome, shipped};
use tintwell::photo::{self, Photo};
use tintwell::reading::{Sighting, Status};
use tintwell::terms::{Analyte, Unit};

use crate::support::abuse;
use crate::support::reading::{bounds, chart, file, read, read_bytes, with_pixels};

/// A photo whose paper is at about a third of full scale once darkened, so that light may double and
/// nothing clips; its chart; how it reads.
struct Sound {
    photo: Photo,
    card: CardView,
    light: Vec<abuse::Rgb>,
    chart: Chart,
    seen: Sighting,
}

static SOUND: LazyLock<[Sound; 2]> = LazyLock::new(|| {
    [("series/001.jpg", "rendered-ammonia"), ("ph_unknown/010.jpg", "rendered-ph")].map(|(name, kit)| {
        let photo = photo::open(&file(name)).unwrap();
        let (width, height) = photo.pixels.dimensions();
        let light = (0..height)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| photo.linear(x, y))
            .collect();
        let chart = chart(kit);
        let seen = read(photo.clone(), &chart);
        assert_eq!(seen.status, Status::Read, "{name}");
        let card = tintwell::card::find(&photo.pixels).unwrap();
        Sound { photo, card, light, chart, seen }
    })
});

fn scaled(sound: &Sound, factors: abuse::Rgb) -> Sighting {
    let (width, height) = sound.photo.pixels.dimensions();
    let light: Vec<abuse::Rgb> =
        sound.light.iter().map(|l| std::array::from_fn(|k| l[k] * factors[k])).collect();
    read(with_pixels(&sound.photo, abuse::encode(width, height, &light)), &sound.chart)
}

/// The other reading's value lies in the sound one's interval.
fn assert_same(sound: &Sound, other: &Sighting) {
    let (low, high) = bounds(&sound.seen);
    let value = other.value.unwrap_or_else(|| panic!("no value: {other:?}"));
    assert!((low..=high).contains(&value), "{value} outside {low}..{high}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]

    /// More or less light, or light of another cast, as long as nothing clips or sinks into 8 bits. Fails
    /// when the paper's light is divided out by four fifths, or in green alone.
    #[test]
    fn scaling_the_light_leaves_the_reading_in_its_interval(
        which in 0_usize..2,
        level in 0.25..1.0_f64,
        red in 0.85..1.0_f64,
        blue in 0.85..1.0_f64,
    ) {
        let sound = &SOUND[which];
        assert_same(sound, &scaled(sound, [level * red, level, level * blue]));
    }

    /// A border of any even colour and width, as messengers and editors put around pictures. Fails when the
    /// white balance is taken from the whole picture.
    #[test]
    fn a_border_leaves_the_reading_in_its_interval(
        which in 0_usize..2,
        (left, top) in (0_u32..90, 0_u32..90),
        colour in prop::array::uniform3(0_u8..=255),
    ) {
        let sound = &SOUND[which];
        let (width, height) = sound.photo.pixels.dimensions();
        let mut framed = RgbImage::from_pixel(width + 120, height + 120, image::Rgb(colour));
        let sky: RgbImage = sound.photo.to_srgb();
        imageops::replace(&mut framed, &sky, left.into(), top.into());
        assert_same(sound, &read(with_pixels(&sound.photo, framed), &sound.chart));
    }
}

/// The photo with other light wherever a filter changes it: it takes the light and the place on the card.
fn relit(sound: &Sound, filter: impl Fn(abuse::Rgb, PointMm) -> abuse::Rgb) -> Sighting {
    let (width, height) = sound.photo.pixels.dimensions();
    let pixels = (0..height).flat_map(|y| (0..width).map(move |x| (f64::from(x), f64::from(y))));
    let place = |at| {
        let (x, y) = sound.card.to_card.apply(at);
        PointMm { x, y }
    };
    let light: Vec<abuse::Rgb> =
        sound.light.iter().zip(pixels).map(|(light, at)| filter(*light, place(at))).collect();
    read(with_pixels(&sound.photo, abuse::encode(width, height, &light)), &sound.chart)
}

/// A grain of reagent that has not dissolved, or a stain on the glass: light of one colour over a hundredth
/// of the liquid. Fails when the liquid's colour is taken from its single most saturated block.
#[test]
fn a_fleck_of_strong_colour_leaves_the_reading_in_its_interval() {
    for sound in &*SOUND {
        let corners = sound.seen.evidence.sample.iter().map(|&corner| sound.card.to_card.apply(corner));
        let corners: Vec<(f64, f64)> = corners.collect();
        let middle = |k: fn(&(f64, f64)) -> f64| corners.iter().map(k).sum::<f64>() / corners.len() as f64;
        let (x, y) = (middle(|corner| corner.0), middle(|corner| corner.1));
        for channel in 0..3 {
            let seen = relit(sound, |mut light, at| {
                if (at.x - x).abs().max((at.y - y).abs()) < 1.6 {
                    light[channel] *= 0.25;
                }
                light
            });
            assert_same(sound, &seen);
        }
    }
}

/// A worn or badly printed card: every patch darker or lighter by its own share in every channel. Fails
/// when the correction's residual is held at a number.
#[test]
fn intervals_widen_as_the_cards_patches_fit_worse() {
    for sound in &*SOUND {
        let layout = sound.card.layout;
        let width = |sd: f64| {
            let mut rng = Pcg64Mcg::seed_from_u64(11);
            let mut gain = || [0.0; 3].map(|_: f64| (sd * rng.random_range(-1.7..1.7_f64)).exp());
            let gains: Vec<abuse::Rgb> = layout.patches.iter().map(|_| gain()).collect();
            let seen = relit(sound, |light, at| {
                let patch = layout.patches.iter().position(|patch| patch.rect.contains(at));
                patch.map_or(light, |patch| std::array::from_fn(|k| light[k] * gains[patch][k]))
            });
            let (low, high) = bounds(&seen);
            high - low
        };
        let widths = [0.0, 0.03, 0.06, 0.12].map(width);
        assert!(widths.is_sorted() && widths[3] > 1.3 * widths[0], "{widths:?}");
    }
}

/// Noise of single pixels, as of a dark room, in shares of the light.
#[test]
fn intervals_do_not_narrow_as_noise_grows() {
    for sound in &*SOUND {
        let width = |sd: f64| {
            let mut rng = Pcg64Mcg::seed_from_u64(7);
            let mut noisy = sound.photo.to_srgb();
            for pixel in noisy.pixels_mut() {
                pixel.0 = pixel.0.map(|code| {
                    let bell: f64 = (0..12).map(|_| rng.random_range(-0.5..0.5)).sum();
                    (f64::from(code) + sd * bell).round().clamp(0.0, 255.0) as u8
                });
            }
            let seen = read(with_pixels(&sound.photo, noisy), &sound.chart);
            let (low, high) = bounds(&seen);
            high - low
        };
        let widths = [0.0, 15.0, 40.0].map(width);
        assert!(widths[1] >= 0.9 * widths[0] && widths[2] >= widths[1], "{widths:?}");
    }
}

/// Fails when tags are known upright alone.
#[test]
fn turning_the_photo_leaves_the_reading_in_its_interval() {
    for sound in &*SOUND {
        for turned in [
            imageops::rotate90(&sound.photo.pixels.to_image()),
            imageops::rotate180(&sound.photo.pixels.to_image()),
            imageops::rotate270(&sound.photo.pixels.to_image()),
        ] {
            let photo = Photo { pixels: turned.into(), ..sound.photo.clone() };
            assert_same(sound, &read(photo, &sound.chart));
        }
    }
}

#[test]
fn recompressing_at_quality_90_leaves_the_reading_in_its_interval() {
    for sound in &*SOUND {
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, 90).encode_image(&sound.photo.to_srgb()).unwrap();
        assert_same(sound, &read_bytes(&jpeg, &sound.chart));
    }
}

/// Fails when one decoder swaps red and blue.
#[test]
fn lossless_formats_read_the_same_to_the_last_digit() {
    let sound = &SOUND[0];
    let picture = sound.photo.to_srgb();
    let of = |format| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).unwrap();
        let seen = read_bytes(bytes.get_ref(), &sound.chart);
        (seen.value, seen.low, seen.high)
    };
    let png = of(image::ImageFormat::Png);
    assert!(png.0.is_some());
    assert_eq!(png, of(image::ImageFormat::WebP));
}

/// All matches of a chart's scale along its own path.
fn rulers() -> Vec<(String, &'static tintwell::chart::Ruler)> {
    static CHARTS: LazyLock<Vec<Chart>> =
        LazyLock::new(|| shipped::names().map(|name| shipped::find(name).unwrap().unwrap()).collect());
    CHARTS
        .iter()
        .flat_map(|chart| chart.scales.iter().map(move |scale| (chart, scale)))
        .map(|(chart, scale)| (format!("{} {}", chart.name, scale.analyte), scale.ruler(chart.form).unwrap()))
        .collect()
}

fn circumstances(residual: f64, unevenness: f64) -> Circumstances {
    Circumstances { residual, hue_shift: 0.03, lamp: (0.0, 0.15), mixed: [0.0; 3], unevenness }
}

/// Median of an outcome, beyond the chart its end.
fn middle(outcome: Outcome, last: f64) -> f64 {
    match outcome {
        Outcome::Within { value, .. } => value,
        Outcome::Above { .. } => last,
        Outcome::OffPath => panic!("a colour of the path lies on it"),
    }
}

#[test]
fn more_of_an_analyte_never_reads_as_less() {
    for (name, ruler) in rulers() {
        let (first, last) = (ruler.path.first(), ruler.path.last());
        let mut before = f64::NEG_INFINITY;
        for k in 0..=600 {
            // Even in steps, as the eye goes along a chart.
            let place = f64::from(k) / 600.0 * (ruler.path.levels.len() - 1) as f64;
            let (level, share) = ((place as usize).min(ruler.path.levels.len() - 2), place.fract());
            let share = if k == 600 { 1.0 } else { share };
            let levels = &ruler.path.levels;
            let value = levels[level] * (1.0 - share) + levels[level + 1] * share;
            let light = tintwell::chart::matching::typical_light(&ruler.path, value);
            let read = middle(ruler.match_colour(light, &circumstances(0.02, 0.0)).outcome, last);
            assert!(read >= before - 1e-9, "{name}: {value} reads {read} after {before}");
            assert!((first..=last).contains(&read), "{name}");
            before = read;
        }
    }
}

/// Ten times the residual widens every interval by more than this, also those that reach from end to end.
const CLEARLY_WIDER: f64 = 1.01;

/// Fails when the match leaves out the correction's residual, or the scatter over the sample.
#[test]
fn intervals_widen_as_the_colours_get_worse() {
    for (name, ruler) in rulers() {
        for value in ruler.path.levels.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0) {
            let light = tintwell::chart::matching::typical_light(&ruler.path, value);
            let width = |residual: f64, unevenness: f64| match ruler
                .match_colour(light, &circumstances(residual, unevenness))
                .outcome
            {
                Outcome::Within { low, high, .. } => high - low,
                _ => f64::INFINITY,
            };
            for (what, widths) in [
                ("residual", [width(0.01, 0.0), width(0.04, 0.0), width(0.10, 0.0)]),
                ("scatter", [width(0.02, 0.0), width(0.02, 0.05), width(0.02, 0.12)]),
            ] {
                assert!(widths.is_sorted(), "{name} {value}: {what} {widths:?}");
                assert!(widths[2] > CLEARLY_WIDER * widths[0], "{name} {value}: {what} {widths:?}");
            }
        }
    }
}

/// Half a unit in the last place either way, twice.
const ROUNDING: f64 = 2.0 * f64::EPSILON;

proptest! {
    /// Fails when a conversion gains four units in the last place.
    #[test]
    fn units_convert_there_and_back_to_the_last_bits(value in 1e-6..1e6_f64, from in 0_usize..10, to in 0_usize..10) {
        let (from, to) = (Unit::ALL[from], Unit::ALL[to]);
        for analyte in Analyte::ALL {
            let Some(there) = from.convert(value, to, analyte) else { continue };
            let back = to.convert(there, from, analyte).unwrap();
            prop_assert!((back - value).abs() <= ROUNDING * value, "{value} {from} {to} {back}");
        }
    }

    #[test]
    fn conversion_keeps_the_order(a in 0.0..1e6_f64, b in 0.0..1e6_f64, from in 0_usize..10, to in 0_usize..10) {
        let (from, to) = (Unit::ALL[from], Unit::ALL[to]);
        for analyte in Analyte::ALL {
            let (Some(x), Some(y)) = (from.convert(a, to, analyte), from.convert(b, to, analyte)) else { continue };
            prop_assert!(a.partial_cmp(&b) == x.partial_cmp(&y) || (x - y).abs() <= ROUNDING * x.max(y));
        }
    }
}
