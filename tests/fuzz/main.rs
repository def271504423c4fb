//! Hostile bytes against every place where a file or a typed word comes in: the short run.
//!
//! `guided/` runs the same targets for as long as wished, led by coverage (`DEVELOPERS.md` says how).
//! What either found once stands in `found/`, by the target's name, and is tried again each time.

mod mutate;
mod targets;

use std::path::Path;

use mutate::Mutator;
use targets::{TARGETS, Target};

fn found(target: &Target) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/found");
    let files = std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().path());
    let is_of_target = |path: &std::path::PathBuf| {
        path.file_name().unwrap().to_string_lossy().split('-').next() == Some(target.name)
    };
    files.filter(is_of_target).map(|path| std::fs::read(path).unwrap()).collect()
}

/// How many times longer than short the run is to be.
fn longer() -> usize {
    std::env::var("TINTWELL_LONGER").map_or(1, |times| times.parse().expect("a number"))
}

fn short_run(name: &str) {
    let target = TARGETS.iter().find(|target| target.name == name).unwrap();
    let mut inputs = (target.seeds)();
    inputs.extend(found(target));
    inputs.iter().for_each(|input| (target.run)(input));
    let mut mutator = Mutator::new(name.len() as u64);
    for _ in 0..target.rounds * longer() {
        (target.run)(&mutator.mutate(&inputs));
    }
}

#[test]
fn no_photo_file_breaks_the_decoders() {
    short_run("photo");
}

#[test]
fn no_exif_data_break_the_reader_of_times() {
    short_run("exif");
}

#[test]
fn no_colour_profile_gives_senseless_light() {
    short_run("profile");
}

#[test]
fn no_picture_breaks_the_search_for_the_card() {
    short_run("card");
}

#[test]
fn no_chart_file_breaks_the_match() {
    short_run("chart");
}

#[test]
fn no_colour_breaks_the_match() {
    short_run("match");
}

#[test]
fn no_light_over_a_window_breaks_a_reading() {
    short_run("window");
}

#[test]
fn no_log_file_breaks_its_reader() {
    short_run("log");
}

#[test]
fn no_table_breaks_the_import() {
    short_run("table");
}

#[test]
fn no_tank_file_breaks_its_reader() {
    short_run("tank");
}

#[test]
fn no_file_of_slips_breaks_its_reader() {
    short_run("slips");
}

#[test]
fn no_typed_words_break_their_readers() {
    short_run("words");
}

#[test]
fn no_command_line_breaks_its_reader() {
    short_run("command");
}

#[test]
fn every_target_has_its_short_run() {
    let source = include_str!("main.rs");
    for target in &TARGETS {
        assert!(source.contains(&format!("short_run(\"{}\")", target.name)), "{}", target.name);
    }
}
