//! Hostile samples: colours that no kit has before the match, and windows of rendered photos over which
//! any light may lie.

use std::sync::LazyLock;

use image::RgbImage;
use tintwell::card::layout::RectMm;
use tintwell::chart::matching::{Asked, match_together, typical_light};
use tintwell::chart::path;
use tintwell::chart::{Chart, Circumstances, Match, Outcome, Ruler, shipped};
use tintwell::colour::{Illumination, PatchColours};
use tintwell::photo::{self, Encoding, Photo};
use tintwell::pipeline::{self, View};
use tintwell::reading::{Sighting, Status};
use tintwell::sample::{BareStrip, Veil};

use super::fixture;

/// Charts of a vial that begins at zero, of one that does not, and of a strip.
static CHARTS: LazyLock<[Chart; 3]> = LazyLock::new(|| {
    ["rendered-ammonia", "rendered-ph", "rendered-strip"]
        .map(|name| shipped::find(name).expect("a shipped chart").expect("a sound chart"))
});

/// Bytes as numbers between none and one, two for each; zero when there are no more.
struct Shares<'a>(&'a [u8]);

impl Shares<'_> {
    fn next(&mut self) -> f64 {
        let Some((two, rest)) = self.0.split_first_chunk() else { return 0.0 };
        self.0 = rest;
        f64::from(u16::from_le_bytes(*two)) / f64::from(u16::MAX)
    }

    fn three(&mut self) -> [f64; 3] {
        [self.next(), self.next(), self.next()]
    }
}

/// A colour, what a photo may tell besides, and what around the sample may tell of a veil: whatever they
/// are, probabilities and intervals make sense.
pub fn matched(bytes: &[u8]) {
    let [which, rest @ ..] = bytes else { return };
    let rulers: Vec<(&'static Chart, &'static Ruler)> = CHARTS
        .iter()
        .flat_map(|chart| chart.scales.iter().map(move |scale| (chart, scale)))
        .filter_map(|(chart, scale)| Some((chart, scale.ruler(chart.form)?)))
        .collect();
    let (_, ruler) = rulers[usize::from(*which) % rulers.len()];
    let mut shares = Shares(rest);
    // From a ten-thousandth of paper's light to half as much again.
    let colour = shares.three().map(|share| 1.5 * 10_f64.powf(-4.0 * share));
    let circumstances = Circumstances {
        residual: 0.2 * shares.next(),
        hue_shift: 0.3 * shares.next(),
        lamp: (3.0 * shares.next() - 1.5, 0.15 + shares.next()),
        mixed: shares.three().map(|share| 0.3 * share),
        unevenness: 0.3 * shares.next(),
    };
    let plain = ruler.match_colour(colour, &circumstances);
    check(&plain, &ruler.path);
    assert!(plain.veiled == 0.0);
    let surface = shares.three();
    let strip = BareStrip { beside: 3.0 * shares.next(), whole: 3.0 * shares.next() };
    let shaded = std::array::from_fn(|channel| 1.2 * surface[channel] * colour[channel]);
    for veil in [Veil::over_liquid(colour, shaded), Veil::over_pad(colour, strip)] {
        assert!(0.0 <= veil.least && veil.least <= veil.most && veil.most.is_finite(), "{veil:?}");
        assert!((0.0..1.0).contains(&veil.chance), "{veil:?}");
        check(&ruler.match_behind_veil(colour, &circumstances, veil), &ruler.path);
        let asked = |(_, ruler): &(&'static Chart, &'static Ruler)| Asked {
            path: &ruler.path,
            colour,
            circumstances,
            veil: Some(veil),
        };
        let asked: Vec<Asked> = rulers.iter().map(asked).collect();
        let matched = match_together(&asked);
        matched.iter().zip(&asked).for_each(|(matched, asked)| check(matched, asked.path));
    }
}

/// What holds of every match.
pub fn check(matched: &Match, path: &path::Path) {
    let is_share = |p: f64| (0.0..=1.0 + 1e-9).contains(&p);
    assert!(is_share(matched.veiled), "{matched:?}");
    assert!(matched.chi_square >= 0.0, "{matched:?}");
    match matched.outcome {
        Outcome::Within { value, low, high } => {
            assert!(low <= value && value <= high, "{matched:?}");
            assert!((path.first()..=path.last()).contains(&value) && high <= path.last(), "{matched:?}");
            assert!(low.is_finite() && (low >= path.first() || path.first() > 0.0), "{matched:?}");
            assert!(is_share(matched.above) && matched.sd.is_finite(), "{matched:?}");
        }
        Outcome::Above { low } => {
            assert!((path.first()..=path.last()).contains(&low), "{matched:?}");
            assert!(is_share(matched.above) && matched.above > 0.5, "{matched:?}");
        }
        Outcome::OffPath => {}
    }
}

/// A colour of each path, in an ordinary photo with and without a veil, and three that are none.
pub fn colours() -> Vec<Vec<u8>> {
    let bytes = |which: u8, numbers: &[f64]| {
        let two = |share: &f64| ((share.clamp(0.0, 1.0) * f64::from(u16::MAX)) as u16).to_le_bytes();
        [which].into_iter().chain(numbers.iter().flat_map(two)).collect()
    };
    let share = |light: f64| -(light / 1.5).log10() / 4.0;
    // Residual, hue shift, lamp, mixed light, unevenness.
    let ordinary = [0.1, 0.1, 0.5, 0.05, 0.0, 0.0, 0.0, 0.0];
    let around = [[0.3, 0.3, 0.3, 0.33, 0.33], [0.9, 0.9, 0.9, 0.4, 0.33], [0.2, 0.5, 0.8, 0.2, 0.45]];
    let rulers = CHARTS.iter().flat_map(|chart| chart.scales.iter().map(|scale| scale.ruler(chart.form)));
    let mut all: Vec<Vec<u8>> = Vec::new();
    for (which, ruler) in rulers.flatten().enumerate() {
        let middle = (ruler.path.first() + ruler.path.last()) / 2.0;
        let light = typical_light(&ruler.path, middle).map(share);
        all.extend(around.map(|around| bytes(which as u8, &[&light[..], &ordinary, &around].concat())));
    }
    let strange = [[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [0.0, 1.0, 0.5]];
    all.extend(strange.map(|light| bytes(0, &[&light[..], &ordinary, &around[0]].concat())));
    all
}

/// Photos of a vial and of a strip that were looked at, and the charts for them.
static SCENES: LazyLock<[(View, &Chart); 2]> = LazyLock::new(|| {
    let scene = |file: &str, chart: usize| {
        let photo = photo::from_bytes(&fixture(&format!("fixtures/photos/{file}"))).expect("a photo");
        (pipeline::look(photo).expect("a card"), &CHARTS[chart])
    };
    [scene("ammonia_unknown/001.jpg", 0), scene("strip_unknown/002.jpg", 2)]
});

/// The light that is put over a window lies on a grid of so many columns and rows.
const GRID: (usize, usize) = (9, 40);
/// What does nothing to the light there is.
const UNCHANGED: [u8; 4] = [128, 0, 0, 0];

/// A window over every part of which lies another light: so much of the photo's own, and so much more in
/// each channel. The sample is refused with a reason, or read with an interval within the chart.
pub fn window(bytes: &[u8]) {
    let [which, cells @ ..] = bytes else { return };
    let (view, chart) = &SCENES[usize::from(*which) % SCENES.len()];
    let rect = view.card.layout.windows[0];
    let photo = lit_over(view, rect, cells);
    let Ok(light) = Illumination::fit(&photo, &view.card) else { return };
    let patches = PatchColours::measure(&photo, &view.card, &light);
    let view = View { photo, card: view.card.clone(), light, patches };
    for (sighting, scale) in pipeline::read_window(&view, rect, chart).iter().zip(&chart.scales) {
        let levels = scale.levels.iter().map(|level| level.value);
        assert_sound(sighting, (levels.clone().fold(f64::INFINITY, f64::min), levels.fold(0.0, f64::max)));
    }
}

fn assert_sound(sighting: &Sighting, (first, last): (f64, f64)) {
    let numbers = [sighting.value, sighting.low, sighting.high];
    assert!(numbers.iter().flatten().all(|number| number.is_finite()), "{sighting:?}");
    match (sighting.status, numbers) {
        (Status::Refused, _) => assert!(sighting.reason.as_ref().is_some_and(|why| !why.is_empty())),
        (Status::AboveRange, [_, Some(low), _]) => assert!((first..=last).contains(&low), "{sighting:?}"),
        (_, [Some(value), Some(low), Some(high)]) => {
            assert!(low <= value && value <= high && high <= last, "{sighting:?}");
        }
        _ => panic!("a reading lacks a number: {sighting:?}"),
    }
}

/// The photo with this light over a part of the card.
fn lit_over(view: &View, rect: RectMm, cells: &[u8]) -> Photo {
    let rect = rect.grown(4.0);
    let mut picture: RgbImage = view.photo.to_srgb();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let place = view.card.to_card.apply((x.into(), y.into()));
        let share = ((place.0 - rect.x0) / rect.width(), (place.1 - rect.y0) / rect.height());
        if !(0.0..1.0).contains(&share.0) || !(0.0..1.0).contains(&share.1) {
            continue;
        }
        let cell = (share.1 * GRID.1 as f64) as usize * GRID.0 + (share.0 * GRID.0 as f64) as usize;
        let [gain, more @ ..] = *cells.get(4 * cell..).and_then(<[u8]>::first_chunk).unwrap_or(&UNCHANGED);
        for (code, more) in pixel.0.iter_mut().zip(more) {
            *code = (u16::from(*code) * u16::from(gain) / 128 + u16::from(more)).min(255) as u8;
        }
    }
    Photo { pixels: picture.into(), encoding: Encoding::srgb(), ..view.photo.clone() }
}

/// Both as they are, with a shadow along one side, and with a band of haze across.
pub fn windows() -> Vec<Vec<u8>> {
    let light = |which: u8, cell: fn(usize, usize) -> [u8; 4]| -> Vec<u8> {
        let cells = (0..GRID.1).flat_map(|row| (0..GRID.0).flat_map(move |column| cell(column, row)));
        [which].into_iter().chain(cells).collect()
    };
    [0, 1]
        .into_iter()
        .flat_map(|which| {
            [
                light(which, |_, _| UNCHANGED),
                light(which, |column, _| if column < 5 { [80, 0, 0, 0] } else { UNCHANGED }),
                light(which, |_, row| if (12..20).contains(&row) { [100, 60, 60, 60] } else { UNCHANGED }),
            ]
        })
        .collect()
}
