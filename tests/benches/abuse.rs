//! What abuse of rendered photos does to their readings.
//!
//! `cargo bench --bench abuse` prints the table that `PROMISES.md` holds.

#[path = "../suite/support/abuse.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod abuse;
#[path = "../suite/support/filters.rs"]
mod filters;
#[path = "../suite/support/light.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod light;
#[path = "../suite/support/reading.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod reading;

use abuse::{CASES, Scene};
use rayon::prelude::*;
use reading::{chart, file, read_scale, step_of, with_pixels};
use tintwell::card::layout::PointMm;
use tintwell::chart::Chart;
use tintwell::photo::{self, Photo};
use tintwell::pipeline;
use tintwell::reading::{Sighting, Status};

/// Small ones of all lights and phones: photo, analyte, true value.
const VIALS: [(&str, &str, f64); 14] = [
    ("ammonia_unknown/004.jpg", "ammonia", 5.33),
    ("ammonia_unknown/009.jpg", "ammonia", 0.02),
    ("series/001.jpg", "ammonia", 1.99),
    ("series/010.jpg", "ammonia", 0.33),
    ("nitrite_unknown/003.jpg", "nitrite", 0.35),
    ("nitrite_unknown/004.jpg", "nitrite", 2.59),
    ("series/014.jpg", "nitrite", 3.79),
    ("series/002.jpg", "nitrite", 0.01),
    ("series/009.jpg", "nitrate", 6.57),
    ("series/018.jpg", "nitrate", 43.9),
    ("series/021.jpg", "nitrate", 59.12),
    ("ph_unknown/003.jpg", "ph", 6.06),
    ("ph_unknown/009.jpg", "ph", 6.82),
    ("ph_unknown/010.jpg", "ph", 6.43),
];

/// Strips: photo, true values of their pads from the dipped end.
const STRIPS: [(&str, [f64; 4]); 3] = [
    ("strip_unknown/002.jpg", [66.6, 4.5, 6.72, 0.25]),
    ("strip_unknown/004.jpg", [20.0, 0.0, 7.03, 1.8]),
    ("strip_unknown/005.jpg", [1.3, 0.74, 6.8, 0.44]),
];

struct Sound {
    name: &'static str,
    photo: Photo,
    scene: Scene,
    chart: Chart,
    scale: usize,
    truth: f64,
    seen: Sighting,
}

fn sound(name: &'static str, kit: &str, scale: usize, truth: f64) -> Sound {
    let chart = chart(&format!("rendered-{kit}"));
    let photo = photo::open(&file(name)).unwrap();
    let view = pipeline::look(photo.clone()).unwrap();
    let seen = read_scale(photo.clone(), &chart, scale);
    let on_card = |&(x, y): &(f64, f64)| {
        let (x, y) = view.card.to_card.apply((x, y));
        PointMm { x, y }
    };
    let sample: Vec<PointMm> = seen.evidence.sample.iter().map(on_card).collect();
    let scene = Scene::of(&view, &sample);
    Sound { name, photo, scene, chart, scale, truth, seen }
}

fn vials() -> Vec<Sound> {
    VIALS.par_iter().map(|&(name, kit, truth)| sound(name, kit, 0, truth)).collect()
}

fn strips() -> Vec<Sound> {
    let pads = STRIPS.iter().flat_map(|&(name, truths)| (0..4).map(move |pad| (name, pad, truths[pad])));
    pads.map(|(name, pad, truth)| sound(name, "strip", pad, truth)).collect()
}

/// Columns of the table.
const COLUMNS: [&str; 6] = ["right", "wider", "flagged", "refused", "missed", "WRONG"];

fn outcome(sound: &Sound, now: &Sighting) -> usize {
    if now.status == Status::Refused {
        return 3;
    }
    let (low, high) = reading::bounds(now);
    let (old_low, old_high) = reading::bounds(&sound.seen);
    let holds = (low..=high).contains(&sound.truth);
    if now.flags.iter().any(|flag| !sound.seen.flags.contains(flag)) {
        return 2;
    }
    if holds {
        return usize::from(high - low > 1.3 * (old_high - old_low));
    }
    let off = (low - sound.truth).max(sound.truth - high);
    let from = now.value.map_or(off, |value| (value - sound.truth).abs());
    4 + usize::from(from > step_of(&sound.chart, sound.scale, sound.truth))
}

fn main() {
    let wanted = std::env::var("TINTWELL_CASE").unwrap_or_default();
    println!("Vials:");
    table(&vials(), &wanted);
    println!("Pads of strips:");
    table(&strips(), &wanted);
}

fn table(photos: &[Sound], wanted: &str) {
    println!("| {:52} | {} |", "case", COLUMNS.join(" | "));
    for case in CASES.iter().filter(|case| case.name.contains(wanted)) {
        let seen: Vec<(usize, String)> = photos
            .par_iter()
            .enumerate()
            .map(|(index, sound)| {
                let pixels = (case.apply)(&sound.scene, index as u64);
                let now = read_scale(with_pixels(&sound.photo, pixels), &sound.chart, sound.scale);
                let words = format!(
                    "    {} true {} was {:.2?}..{:.2?} now {:?} {:.2?} ({:.2?}..{:.2?}) {:?} {:?}",
                    sound.name,
                    sound.truth,
                    sound.seen.low,
                    sound.seen.high,
                    now.status,
                    now.value,
                    now.low,
                    now.high,
                    now.flags,
                    now.reason
                );
                (outcome(sound, &now), words)
            })
            .collect();
        let counts: [usize; 6] =
            std::array::from_fn(|k| seen.iter().filter(|(outcome, _)| *outcome == k).count());
        println!("| {:52} | {} |", case.name, counts.map(|n| n.to_string()).join(" | "));
        if !wanted.is_empty() {
            seen.iter().for_each(|(outcome, words)| println!("{outcome}{words}"));
        } else {
            seen.iter().filter(|(outcome, _)| *outcome >= 4).for_each(|(_, words)| println!("{words}"));
        }
    }
}
