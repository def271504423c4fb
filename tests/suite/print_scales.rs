//! Cards printed at another scale, rendered: seen in the card's own millimetres, a vial or a strip before a
//! card of 97 % is larger by 3 %, and before one that was fitted to a page, wider than high or the other
//! way round. So the sample is cut out of a rendered photo, stretched and rendered back through the
//! photo's own projection and light. It proves nothing of a real printer.

use tintwell::card::layout::{PointMm, RectMm};
use tintwell::chart::Chart;
use tintwell::photo::{self, Photo};
use tintwell::pipeline::{self, View};
use tintwell::reading::{Sighting, Status};

use crate::support::abuse;
use crate::support::light::light_at;
use crate::support::reading::{bounds, chart, file, read, with_pixels};

/// Size of the print against the true one, across and along.
const PRINTS: [(f64, f64); 4] = [(0.97, 0.97), (0.94, 1.0), (1.0, 0.97), (1.03, 1.03)];

/// The photo as a card of this size would show it: what lies within `area` is stretched about `fixed`.
fn printed_at(view: &View, (across, along): (f64, f64), area: &[RectMm], fixed: PointMm) -> Photo {
    let (width, height) = view.photo.pixels.dimensions();
    let mut light = Vec::with_capacity((width * height) as usize);
    for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
        let (px, py) = view.card.to_card.apply((f64::from(x), f64::from(y)));
        let place = PointMm { x: px, y: py };
        if !area.iter().any(|part| part.contains(place)) {
            light.push(view.photo.linear(x, y));
            continue;
        }
        let from = PointMm { x: fixed.x + (px - fixed.x) * across, y: fixed.y + (py - fixed.y) * along };
        let own = light_at(view, view.card.to_photo.apply((from.x, from.y)));
        let (old, new) = (view.light.at(from), view.light.at(place));
        light.push(std::array::from_fn(|k| own[k] / old[k] * new[k]));
    }
    with_pixels(&view.photo, abuse::encode(width, height, &light))
}

fn assert_same(before: &Sighting, after: &Sighting, what: &str) {
    assert_eq!(after.status, before.status, "{what}: {after:?}");
    if before.status == Status::Read {
        let (low, high) = bounds(before);
        let value = after.value.unwrap();
        assert!((low..=high).contains(&value), "{what}: {value} outside {low}..{high}");
    }
}

fn view_of(name: &str) -> View {
    pipeline::look(photo::open(&file(name)).unwrap()).unwrap()
}

#[test]
fn a_vial_reads_the_same_before_a_card_printed_at_another_scale() {
    for (name, kit) in [
        ("series/001.jpg", "rendered-ammonia"),
        ("nitrite_unknown/003.jpg", "rendered-nitrite"),
        ("ph_unknown/010.jpg", "rendered-ph"),
    ] {
        let (view, chart) = (view_of(name), chart(kit));
        let (sample, _) = pipeline::vial_in(&view, view.card.layout.windows[0]).unwrap();
        let middle = (sample.area[0].x + sample.area[1].x) / 2.0;
        // Above the window's lower line all of the window, below it the vial alone.
        let half = 0.76 * (sample.area[1].x - sample.area[0].x);
        let area =
            [RectMm::new(58.0, 9.0, 92.0, 91.0), RectMm::new(middle - half, 91.0, middle + half, 99.0)];
        let sound = read(view.photo.clone(), &chart);
        for print in PRINTS {
            let photo = printed_at(&view, print, &area, PointMm { x: middle, y: 99.0 });
            assert_same(&sound, &read(photo, &chart), &format!("{name} {print:?}"));
        }
    }
}

/// A strip's form is kept in the millimetres of the card that its chart was made with.
fn strip_at(chart: &Chart, view: &View, print: (f64, f64)) -> Vec<Sighting> {
    let window = view.card.layout.windows[0];
    let photo = printed_at(view, print, &[window.grown(-0.7)], window.centre());
    let view = pipeline::look(photo).unwrap();
    pipeline::read_window(&view, window, chart)
}

#[test]
fn a_strip_reads_the_same_before_a_card_printed_at_94_to_103_per_cent_across_and_97_to_103_along() {
    let (view, chart) = (view_of("strip_unknown/004.jpg"), chart("rendered-strip"));
    let sound = strip_at(&chart, &view, (1.0, 1.0));
    assert!(sound.iter().all(|pad| pad.status != Status::Refused), "{sound:?}");
    for print in PRINTS {
        for (before, after) in sound.iter().zip(strip_at(&chart, &view, print)) {
            assert_same(before, &after, &format!("strip {print:?}"));
        }
    }
}

/// A card printed for the next paper size down or up, or at half the size, is no longer taken.
/// Nor is one of 94 % along the strip: its pads seem 6 % farther apart.
#[test]
fn a_strip_before_a_card_of_another_paper_size_or_six_per_cent_short_is_refused() {
    let (view, chart) = (view_of("strip_unknown/004.jpg"), chart("rendered-strip"));
    for print in [(0.5, 0.5), (0.71, 0.71), (1.41, 1.41), (0.94, 0.94), (1.0, 0.94)] {
        for pad in strip_at(&chart, &view, print) {
            assert_eq!(pad.status, Status::Refused, "{print:?}: {:?}", pad.value);
        }
    }
}
