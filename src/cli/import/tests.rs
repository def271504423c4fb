//! Photos of a folder into the log, with a function in the place of the image side.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Parser;

use super::*;
use crate::cli::{Cli, Command};
use crate::log::{Entry, PhotoSource};
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, Flag};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photo").join(name)
}

/// A reading of every photo whose tank is known.
fn measure(job: &Job, place: &Place) -> Result<Measured, String> {
    let (tank, _) = place.tank.clone().ok_or("it is not known which tank this is")?;
    let measurement = Measurement {
        analyte: Analyte::Nitrite,
        status: Status::Read,
        value: Some(0.5),
        low: Some(0.4),
        high: Some(0.6),
        taken_at: job.looked.taken_at,
        flags: Vec::new(),
    };
    let (photo, hash) = (job.path.display().to_string(), job.looked.hash.clone());
    let source = PhotoSource { photo, hash, chart: None, sample: None, parts: None };
    Ok(Measured { tank, readings: vec![(measurement, source)], refused: Vec::new() })
}

fn import(home: &Path, words: &[&str]) -> Result<Outcome> {
    let words =
        ["tintwell", "--home", home.to_str().unwrap(), "import"].into_iter().chain(words.iter().copied());
    let cli = Cli::try_parse_from(words)?;
    let Command::Import(args) = &cli.command else { unreachable!() };
    run_with(args, &Settings::resolve(&cli)?, None, measure)
}

fn logged(home: &Path) -> Vec<(String, String, Vec<Flag>)> {
    let loaded = Log::at(home).load().unwrap();
    let name = |photo: &str| Path::new(photo).file_name().unwrap().to_string_lossy().into_owned();
    let entries = loaded.live().filter_map(|live| match live.entry {
        Entry::Reading(reading) => match &reading.source {
            crate::log::Source::Photo(photo) => {
                Some((name(&photo.photo), reading.tank.clone(), reading.measurement.flags.clone()))
            }
            _ => None,
        },
        _ => None,
    });
    entries.collect()
}

/// The same photo under another name and with a comment in it.
fn with_comment(photo: &Path) -> Vec<u8> {
    let bytes = fs::read(photo).unwrap();
    [&bytes[..2], b"\xff\xfe\x00\x07words", &bytes[2..]].concat()
}

#[test]
fn a_folder_goes_in_by_time_with_copies_left_out_and_bad_files_named() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("in/deep");
    fs::create_dir_all(&folder).unwrap();
    fs::copy(fixture("zero_date.jpg"), folder.join("2031-03-05 08.00.jpg")).unwrap();
    fs::copy(fixture("turned.png"), folder.join("20310304_180000.png")).unwrap();
    fs::write(folder.join("renamed 2031-03-06.jpg"), with_comment(&fixture("zero_date.jpg"))).unwrap();
    fs::write(folder.join("broken.jpg"), b"\xff\xd8\xff").unwrap();
    fs::write(folder.join(".hidden.jpg"), b"\xff\xd8\xff").unwrap();
    let words = ["--tank", "A", home.path().join("in").to_str().unwrap()].map(str::to_owned);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    assert_eq!(import(home.path(), &words).unwrap(), Outcome::Partly);
    let names: Vec<String> = logged(home.path()).into_iter().map(|(name, ..)| name).collect();
    assert_eq!(names, logged_order(&folder));
    let before = fs::read(Log::at(home.path()).path()).unwrap();
    assert_eq!(import(home.path(), &words).unwrap(), Outcome::Partly);
    assert_eq!(fs::read(Log::at(home.path()).path()).unwrap(), before, "nothing is logged twice");
}

/// Names of the two photos by the time that is found for them.
fn logged_order(folder: &Path) -> Vec<String> {
    let fallback = time::Fallback::new(None, false, true);
    let mut times: Vec<_> = ["2031-03-05 08.00.jpg", "20310304_180000.png"]
        .map(|name| (fallback.look(&folder.join(name)).unwrap().taken_at, name.to_owned()))
        .into();
    times.sort();
    times.into_iter().map(|(_, name)| name).collect()
}

#[test]
fn a_folder_is_mapped_once_and_its_tank_comes_before_the_general_one() {
    let home = tempfile::tempdir().unwrap();
    let (left, right) = (home.path().join("left"), home.path().join("right"));
    for (folder, photo) in [(&left, "zero_date.jpg"), (&right, "turned.png")] {
        fs::create_dir(folder).unwrap();
        fs::copy(fixture(photo), folder.join(format!("20310304_180000.{}", &photo[photo.len() - 3..])))
            .unwrap();
    }
    let map = format!("{}=Left tank", left.display());
    assert_eq!(import(home.path(), &["--folder", &map, left.to_str().unwrap()]).unwrap(), Outcome::Done);
    // Remembered: a photo that arrives later needs no word.
    fs::copy(fixture("turned.webp"), left.join("20310305_180000.webp")).unwrap();
    let words = ["--tank", "Right tank", left.to_str().unwrap(), right.to_str().unwrap()];
    assert_eq!(import(home.path(), &words).unwrap(), Outcome::Done);
    let tanks: Vec<String> = logged(home.path()).into_iter().map(|(_, tank, _)| tank).collect();
    assert_eq!(tanks.iter().filter(|tank| *tank == "Left tank").count(), 2);
    assert_eq!(tanks.iter().filter(|tank| *tank == "Right tank").count(), 1);
}

#[test]
fn a_photo_of_no_known_tank_is_refused_and_logged_once_it_is_told() {
    let home = tempfile::tempdir().unwrap();
    let photo = home.path().join("20310304_180000.jpg");
    fs::copy(fixture("zero_date.jpg"), &photo).unwrap();
    assert_eq!(import(home.path(), &[photo.to_str().unwrap()]).unwrap(), Outcome::Nothing);
    assert!(logged(home.path()).is_empty());
    assert_eq!(import(home.path(), &["--tank", "A", photo.to_str().unwrap()]).unwrap(), Outcome::Done);
    assert_eq!(logged(home.path())[0].2, [Flag::TimeZoneUnknown]);
}

#[test]
fn bad_options_are_refused_before_anything_is_done() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().to_str().unwrap();
    for words in [
        vec!["--tank", "A\u{7}", folder],
        vec!["--folder", "nowhere=A", folder],
        vec!["--at", "03/04/2031", folder],
        vec!["--at", "2031-03-04", "--file-time", folder],
        vec!["--watch", "no-such-folder"],
        vec![],
    ] {
        assert!(import(home.path(), &words).is_err(), "{words:?}");
    }
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 0);
}
