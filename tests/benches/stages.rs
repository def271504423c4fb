//! What each stage between a photo and its reading takes: `cargo bench --bench stages`.
//!
//! Times depend on the machine; ratios are the matter of `cargo bench --bench photo`.

#[path = "support/colours.rs"]
mod colours;
#[path = "support/phone.rs"]
mod phone;

use std::path::Path;
use std::sync::LazyLock;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use tintwell::card;
use tintwell::chart::Chart;
use tintwell::colour::{Illumination, PatchColours};
use tintwell::photo::{self, Photo};
use tintwell::pipeline::{self, View};

static JPEG: LazyLock<Vec<u8>> = LazyLock::new(phone::twelve_megapixels);
static PHOTO: LazyLock<Photo> = LazyLock::new(|| photo::from_bytes(&JPEG).unwrap());
static VIEW: LazyLock<View> = LazyLock::new(|| pipeline::look(PHOTO.clone()).unwrap());
static CHART: LazyLock<Chart> = LazyLock::new(|| {
    let file = phone::file("calibration/rendered-ammonia.json");
    Chart::load(Path::new(&file)).unwrap()
});

fn main() {
    divan::main();
}

/// What reading does: all data walked through, the part under the card decoded.
#[divan::bench(sample_count = 15)]
fn open_the_part_under_the_card(bencher: Bencher) {
    bencher.bench(|| pipeline::open(&JPEG).unwrap());
}

#[divan::bench(sample_count = 15)]
fn open_all_of_it(bencher: Bencher) {
    bencher.bench(|| photo::from_bytes(&JPEG).unwrap());
}

#[divan::bench(sample_count = 15)]
fn find_the_card(bencher: Bencher) {
    bencher.bench(|| card::find(&PHOTO.pixels).unwrap());
}

#[divan::bench(sample_count = 15)]
fn fit_the_light(bencher: Bencher) {
    bencher.bench(|| Illumination::fit(&PHOTO, &VIEW.card).unwrap());
}

#[divan::bench(sample_count = 15)]
fn measure_the_patches(bencher: Bencher) {
    bencher.bench(|| PatchColours::measure(&PHOTO, &VIEW.card, &VIEW.light));
}

#[divan::bench(sample_count = 15)]
fn measure_the_vial(bencher: Bencher) {
    bencher.bench(|| pipeline::vial_in(&VIEW, VIEW.card.layout.windows[0]).unwrap());
}

#[divan::bench(sample_count = 15)]
fn read_the_window(bencher: Bencher) {
    bencher.bench(|| pipeline::read_window(&VIEW, VIEW.card.layout.windows[0], &CHART));
}

/// Values with intervals of a thousand colours all over the chart.
#[divan::bench(sample_count = 15)]
fn match_colours(bencher: Bencher) {
    let colours = colours::colours(&CHART);
    let ruler = CHART.scales[0].ruler(CHART.form).unwrap();
    bencher.counter(ItemsCount::new(colours.len())).bench(|| {
        for (colour, circumstances) in &colours {
            black_box(ruler.match_colour(*colour, circumstances));
        }
    });
}

/// The same as vials are read: two explanations, the usual veil and a wide one.
#[divan::bench(sample_count = 15)]
fn match_colours_behind_glass(bencher: Bencher) {
    let colours = colours::colours(&CHART);
    let ruler = CHART.scales[0].ruler(CHART.form).unwrap();
    bencher.counter(ItemsCount::new(colours.len())).bench(|| {
        for (colour, circumstances) in &colours {
            black_box(ruler.match_behind_veil(*colour, circumstances, colours::VEIL));
        }
    });
}
