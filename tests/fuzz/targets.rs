//! What is thrown hostile bytes at: every place where a file or a typed word of unknown origin comes in.
//!
//! A target panics when something is broken: by itself, or because a promise written here fails.

// Named in full: the guided run takes this file in from another folder.
#[path = "samples.rs"]
mod samples;

use std::path::Path;

use chrono::{TimeDelta, TimeZone, Utc};
use clap::Parser;
use image::RgbImage;
use tintwell::card::layout::VERSION_1;
use tintwell::card::print::{Paper, card_sheet};
use tintwell::chart::{Chart, Circumstances, Leaflet};
use tintwell::cli::slips::{Meaning, Slips};
use tintwell::colour::{Correction, PatchColours};
use tintwell::log::import::{csv, facts, name_time};
use tintwell::log::{Entry, Log, Record, check_name, content_hash, quantity, when, wire};
use tintwell::photo::{self, MAX_PIXELS};
use tintwell::sample::Veil;
use tintwell::terms::text::printable;
use tintwell::terms::{Analyte, EventKind, Flag, Unit};

/// One way in.
pub struct Target {
    /// Its name.
    pub name: &'static str,
    /// Takes the bytes in.
    pub run: fn(&[u8]),
    /// Sound input, from which hostile input is made.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Rounds of the short run: what takes about half a second.
    #[allow(dead_code)] // The guided run goes on for as long as wished.
    pub rounds: usize,
}

/// Every way in.
pub const TARGETS: [Target; 13] = [
    Target { name: "photo", run: photo, seeds: photos, rounds: 8_000 },
    Target { name: "exif", run: exif, seeds: exifs, rounds: 20_000 },
    Target { name: "profile", run: profile, seeds: profiles, rounds: 4_000 },
    Target { name: "card", run: card, seeds: cards, rounds: 300 },
    Target { name: "chart", run: chart, seeds: charts, rounds: 1_000 },
    Target { name: "match", run: samples::matched, seeds: samples::colours, rounds: 3_000 },
    Target { name: "window", run: samples::window, seeds: samples::windows, rounds: 30 },
    Target { name: "log", run: log, seeds: logs, rounds: 6_000 },
    Target { name: "table", run: table, seeds: tables, rounds: 6_000 },
    Target { name: "tank", run: tank, seeds: tanks, rounds: 20_000 },
    Target { name: "slips", run: slips, seeds: slip_files, rounds: 500 },
    Target { name: "words", run: words, seeds: sayings, rounds: 20_000 },
    Target { name: "command", run: command, seeds: commands, rounds: 1_500 },
];

fn fixture(path: &str) -> Vec<u8> {
    let root =
        Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().find(|folder| folder.join("fixtures").is_dir());
    std::fs::read(root.expect("the repository").join(path)).expect("a fixture")
}

/// A photo file: within the limits or refused, and hashed either way.
fn photo(bytes: &[u8]) {
    let _ = photo::capture_time(bytes);
    assert!(!content_hash(bytes).is_empty());
    match photo::from_bytes(bytes) {
        Ok(photo) => {
            let (width, height) = photo.pixels.dimensions();
            assert!(u64::from(width) * u64::from(height) <= MAX_PIXELS);
            assert!(photo.linear(width - 1, height - 1).iter().all(|value| value.is_finite()));
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn photos() -> Vec<Vec<u8>> {
    let names = [
        "orientation_1.jpg",
        "orientation_6.jpg",
        "progressive.jpg",
        "printing_inks.jpg",
        "turned.png",
        "turned.webp",
    ];
    let more = ["two_frames.png", "two_frames.webp", "wide_gamut_32_colours.png", "turned.heic"];
    names.iter().chain(&more).map(|name| fixture(&format!("fixtures/photo/{name}"))).collect()
}

/// A JPEG with a segment put in at its start.
fn with_segment(marker: u8, prefix: &[u8], bytes: &[u8]) -> Vec<u8> {
    let whole = fixture("fixtures/photo/progressive.jpg");
    let bytes = &bytes[..bytes.len().min(65_000)];
    let length = (2 + prefix.len() + bytes.len()) as u16;
    [&[0xff, 0xd8, 0xff, marker], &length.to_be_bytes()[..], prefix, bytes, &whole[2..]].concat()
}

/// EXIF data: a time in the plausible years or none.
fn exif(bytes: &[u8]) {
    let time = photo::capture_time(&with_segment(0xe1, b"Exif\0\0", bytes)).expect("a sound JPEG");
    if let Some(clock) = time.clock() {
        assert!(chrono::Datelike::year(&clock).clamp(2001, 2099) == chrono::Datelike::year(&clock));
    }
}

/// The EXIF data of the tiny photos.
fn exifs() -> Vec<Vec<u8>> {
    let names = ["orientation_1.jpg", "blank_date.jpg", "zero_date.jpg"];
    let from_tiff = |name: &&str| {
        let bytes = fixture(&format!("fixtures/photo/{name}"));
        let at = bytes.windows(6).position(|window| window == b"Exif\0\0").expect("EXIF data");
        let length = usize::from(u16::from_be_bytes([bytes[at - 2], bytes[at - 1]]));
        bytes[at + 6..at - 2 + length].to_vec()
    };
    names.iter().map(from_tiff).collect()
}

/// A colour profile: finite light for every code.
fn profile(bytes: &[u8]) {
    let file = with_segment(0xe2, b"ICC_PROFILE\0\x01\x01", bytes);
    if let Ok(photo) = photo::from_bytes(&file) {
        for code in [[0; 3], [255; 3], [12, 180, 99]] {
            assert!(photo.encoding.linear(code).iter().all(|value| value.is_finite()), "{code:?}");
        }
    }
}

fn profiles() -> Vec<Vec<u8>> {
    use moxcms::ColorProfile;
    [ColorProfile::new_srgb(), ColorProfile::new_display_p3(), ColorProfile::new_gray_with_gamma(2.2)]
        .iter()
        .map(|profile| profile.encode().expect("a sound profile"))
        .collect()
}

/// Grey pixels, a row of which has as many as the first byte says: the card is found or not.
fn card(bytes: &[u8]) {
    let [width, pixels @ ..] = bytes else { return };
    let width = usize::from(*width).max(1);
    let height = (pixels.len() / width).min(400);
    if height == 0 {
        return;
    }
    let rgb = pixels[..width * height].iter().flat_map(|&grey| [grey; 3]).collect();
    let picture = RgbImage::from_raw(width as u32, height as u32, rgb).expect("pixels of this size");
    match tintwell::card::find(&picture.into()) {
        Ok(view) => assert!(view.pixels_per_mm.is_finite() && view.residual_mm.is_finite()),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// The card as printed, reduced, and a darker and narrower part of it with two of its tags.
fn cards() -> Vec<Vec<u8>> {
    let sheet = card_sheet(&VERSION_1, Paper::Photo, &[]).expect("a sheet");
    let png = sheet.to_png(100).expect("a PNG");
    let grey = image::load_from_memory(&png).expect("a PNG").thumbnail(250, 250).into_luma8();
    let half: Vec<u8> = grey.rows().flat_map(|row| row.take(120).map(|pixel| pixel.0[0] / 3)).collect();
    vec![[&[grey.width() as u8][..], grey.as_raw()].concat(), [&[120], &half[..]].concat()]
}

/// A chart's file: if it is taken, every match against it is sound.
fn chart(bytes: &[u8]) {
    let Ok(chart) = Chart::parse(bytes, Path::new("chart.json")) else { return };
    let written = serde_json::to_vec(&chart).expect("JSON");
    assert_eq!(Chart::parse(&written, Path::new("chart.json")).expect("a chart of our own"), chart);
    leaflet(&chart.leaflet);
    let patches =
        PatchColours { relative: vec![Some([0.4, 0.5, 0.3]); chart.reference.patches.len()], clipped: 0 };
    let _ = Correction::fit(&patches, &chart.reference.patches);
    let lamp = chart.reference.score(&patches);
    let circumstances = Circumstances {
        residual: 0.03,
        hue_shift: 0.03,
        lamp: (lamp.mean, lamp.sd),
        mixed: [0.0; 3],
        unevenness: 0.0,
    };
    for ruler in chart.scales.iter().filter_map(|scale| scale.ruler(chart.form)) {
        for colour in [[0.9, 0.9, 0.9], [0.3, 0.7, 0.2], [1e-6, 1e-6, 1e-6]] {
            let veil = Veil { least: 0.0, most: 0.3, chance: 0.1, misled: 0.1 };
            samples::check(&ruler.match_colour(colour, &circumstances), &ruler.path);
            samples::check(&ruler.match_behind_veil(colour, &circumstances, veil), &ruler.path);
        }
    }
}

/// Facts of a kit's leaflet: each can be asked for, and their words are fit for a terminal.
fn leaflet(leaflet: &Leaflet) {
    for minutes in [0, 5, i64::from(i32::MAX)] {
        let misses = leaflet.misses_wait(TimeDelta::minutes(minutes));
        assert_eq!(misses.is_none(), leaflet.wait_minutes.is_none());
    }
    assert!([-40.0, 22.0, 90.0].iter().all(|&c| !(leaflet.is_too_cold(c) && leaflet.is_too_warm(c))));
    let shown = leaflet.to_string();
    assert_eq!(printable(&shown), shown, "{shown:?}");
    assert_eq!(shown.is_empty(), leaflet.is_empty());
}

/// Charts of a vial and of a strip, the latter also as if made from a leaflet's swatches; and one as
/// short as can be, with all that a leaflet says.
fn charts() -> Vec<Vec<u8>> {
    let [vial, strip] =
        ["rendered-ph", "rendered-strip"].map(|name| fixture(&format!("calibration/{name}.json")));
    let mut leaflet: serde_json::Value = serde_json::from_slice(&strip).expect("a chart");
    leaflet["expires"] = "2031-03-04".into();
    for scale in leaflet["scales"].as_array_mut().expect("scales") {
        scale["is_provisional"] = true.into();
    }
    for standard in leaflet["standards"].as_array_mut().expect("standards") {
        standard["measured"]["origin"] = "swatch".into();
    }
    let mut short: serde_json::Value = serde_json::from_slice(&vial).expect("a chart");
    short["photos"] = serde_json::json!([]);
    short["standards"] = serde_json::json!([]);
    short["leaflet"] =
        serde_json::json!({"wait_minutes": 5.5, "shake": "20 s", "coldest_c": 18.0, "warmest_c": 28.0});
    let [leaflet, short] = [leaflet, short].map(|chart| serde_json::to_vec(&chart).expect("JSON"));
    vec![vial, strip, leaflet, short]
}

/// A log's file: what is read of it is written and read as the same.
fn log(bytes: &[u8]) {
    for line in bytes.split(|&byte| byte == b'\n') {
        if let Ok(record) = wire::from_line(line) {
            let written = wire::to_line(&record);
            assert!(!written.contains('\n'));
            let again = wire::from_line(written.as_bytes()).expect("a line of our own");
            assert_eq!(wire::to_line(&again), written);
        }
    }
    let home = tempfile::tempdir().expect("a folder");
    let log = Log::at(home.path());
    std::fs::write(log.path(), bytes).expect("a file");
    let loaded = log.load().expect("damaged lines are no error");
    for tank in loaded.tanks() {
        let _ = loaded.facts(tank);
    }
    assert!(loaded.live().count() + loaded.withdrawn().count() <= loaded.records().len());
}

fn logs() -> Vec<Vec<u8>> {
    vec![fixture("fixtures/log/version_1.jsonl")]
}

/// A table: each row is taken or rejected by its number, and what is taken can be written.
fn table(bytes: &[u8]) {
    let Ok(imported) = csv::read(bytes, "table.csv", &Utc) else { return };
    for entry in imported.entries {
        written_and_read(entry);
    }
    assert!(imported.rejected.iter().all(|(line, why)| *line > 0 && !why.is_empty()));
}

fn written_and_read(entry: Entry) {
    let at = Utc.timestamp_opt(1_900_000_000, 0).unwrap().fixed_offset();
    let record = Record { id: tintwell::log::Id(1), logged_at: at, entry };
    let line = wire::to_line(&record);
    let again = wire::from_line(line.as_bytes()).unwrap_or_else(|error| panic!("{error}: {line}"));
    assert_eq!(wire::to_line(&again), line);
}

fn tables() -> Vec<Vec<u8>> {
    let head = |path: &str| fixture(path).split(|&b| b == b'\n').take(6).collect::<Vec<_>>().join(&b'\n');
    let spreadsheet =
        "at;tank;event;amount;unit\r\n4.3.2031 18:05;T\u{fc}r;water_change;12,5;%\r\n".as_bytes().to_vec();
    vec![head("src/cli/demo/readings.csv"), head("src/cli/demo/events.csv"), spreadsheet]
}

/// A tank file.
fn tank(bytes: &[u8]) {
    match facts::read(bytes) {
        Ok((facts, _)) => written_and_read(Entry::Tank(facts)),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn tanks() -> Vec<Vec<u8>> {
    vec![fixture("src/cli/demo/tank.json")]
}

/// What slips stand for: if the file is taken, every meaning is a usable name, and one more slip can be
/// remembered beside the others; if not, it stays as it is.
fn slips(bytes: &[u8]) {
    let home = tempfile::tempdir().expect("a folder");
    let file = home.path().join("slips.json");
    std::fs::write(&file, bytes).expect("a file");
    let Ok(before) = Slips::load(home.path()) else {
        assert!(Slips::remember(home.path(), 300, &Meaning::Tank("A".to_owned())).is_err());
        assert_eq!(std::fs::read(&file).expect("the file"), bytes);
        return;
    };
    for (_, meaning) in before.iter() {
        let (Meaning::Tank(name) | Meaning::Chart(name)) = meaning;
        assert!(!name.is_empty() && printable(name) == *name, "{name:?}");
    }
    let more = Meaning::Tank("A".to_owned());
    if Slips::remember(home.path(), 300, &more).is_ok() {
        let after = Slips::load(home.path()).expect("a file of our own");
        assert_eq!(after.meaning(300), Some(&more));
        assert!(before.iter().all(|(id, meaning)| after.meaning(id) == Some(meaning)));
    }
}

fn slip_files() -> Vec<Vec<u8>> {
    let files = [
        r#"{"format":"tintwell slips","version":1,"slips":{"101":{"tank":"hall way"},"102":{"chart":"june"}}}"#,
        r#"{"format":"tintwell slips","version":1,"slips":{}}"#,
        r#"{"format":"tintwell slips","version":1,"slips":{"100":{"tank":"T\u00fcr 2"},"300":{"tank":"A"},"586":{"chart":"rendered-ph"}}}"#,
    ];
    files.iter().map(|text| text.as_bytes().to_vec()).collect()
}

/// Words as they are typed: values, amounts, times, names, units.
fn words(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for analyte in Analyte::ALL {
        if let Ok(typed) = quantity::typed(&text, analyte) {
            assert!([typed.value, typed.low, typed.high].into_iter().flatten().all(f64::is_finite), "{text}");
        }
    }
    for kind in EventKind::ALL {
        assert!(quantity::amount(&text, kind).map_or(true, f64::is_finite), "{text}");
    }
    let _ = (when::parse(&text, &Utc), name_time::parse(&text), check_name(&text));
    let _ = (text.parse::<Unit>(), text.parse::<Analyte>(), text.parse::<EventKind>());
    let _ = serde_json::from_str::<Flag>(&text);
    let shown = printable(&text);
    assert!(!shown.chars().any(|c| c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c)), "{shown:?}");
}

fn sayings() -> Vec<Vec<u8>> {
    let sayings = [
        ">100 mg/L NO3",
        "<0.05N",
        "77F",
        "5dKH",
        "2031-03-04T18:05:00+01:00",
        "2031-03-04 18:05",
        "yesterday 7:30",
        "IMG_20310304_180512123.jpg",
    ];
    sayings.iter().map(|text| text.as_bytes().to_vec()).collect()
}

/// A whole command line, its words divided by spaces.
fn command(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Err(error) = tintwell::cli::Cli::try_parse_from(text.split(' ')) {
        assert!(!error.to_string().is_empty());
    }
}

fn commands() -> Vec<Vec<u8>> {
    let commands = [
        "tintwell standards ammonia --syringe 1:0.01 --levels 0,0.5,1",
        "tintwell event --tank A --at 2031-03-04 ammonia_dose=2N water_change=30%",
        "tintwell read --chart a --tank b --at 18:05 photo.jpg",
        "tintwell dose ammonia --volume 60L --target 2",
        "tintwell calibrate june --wait 5.5 --shake 20s --temperature 18..28 --expires 2031-09-30",
        "tintwell read --chart none --chart b --mixed-at 18:05 --temperature 22 photo.jpg",
        "tintwell card --slip 101 --slip 586 --tank hallway --paper a4 --out slips.pdf",
        "tintwell card --windows 4 --analytes ammonia,nitrite,ph --forget-slip 101",
    ];
    commands.iter().map(|text| text.as_bytes().to_vec()).collect()
}
