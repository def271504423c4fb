//! The way of photos into the log, with functions in the place of the image side.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use chrono::TimeDelta;
use proptest::prelude::*;

use super::photos::{Done, Job, Looked, Measured, Outcome, Target, import};
use super::seen::Seen;
use crate::log::tests::at;
use crate::log::{Log, LogError, PhotoSource};
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, Flag};

/// A file named `HASH-HOUR`; an hour of `x` is a photo without a time.
fn look(path: &Path) -> Result<Looked, String> {
    let name = path.to_string_lossy();
    let (hash, hour) = name.split_once('-').unwrap();
    let hour: i64 = hour.parse().map_err(|_| "no time".to_owned())?;
    let taken_at = at("2031-03-04T00:00:00Z") + TimeDelta::hours(hour);
    Ok(Looked { hash: hash.to_owned(), taken_at, flags: vec![Flag::TimeZoneUnknown] })
}

fn measure(job: &Job) -> Result<Measured, String> {
    if job.looked.hash.starts_with("bad") {
        return Err("no card".to_owned());
    }
    assert!(!job.looked.hash.starts_with("bug"), "a fault of the program");
    let analytes: &[Analyte] = match job.looked.hash.as_str() {
        "strip" => &[Analyte::Ammonia, Analyte::Nitrite, Analyte::Ph],
        _ => &[Analyte::Ammonia],
    };
    let reading = |&analyte: &Analyte| {
        let measurement = Measurement {
            analyte,
            status: Status::Read,
            value: Some(1.0),
            low: Some(0.5),
            high: Some(2.0),
            taken_at: at("1970-01-01T00:00:00Z"),
            flags: vec![Flag::DimPhoto],
        };
        let (photo, hash) = (job.path.display().to_string(), job.looked.hash.clone());
        (measurement, PhotoSource { photo, hash, chart: None, sample: None, parts: None })
    };
    let readings = analytes.iter().map(reading).collect();
    Ok(Measured { tank: "A".to_owned(), readings, refused: Vec::new() })
}

fn run(
    log: &Log,
    names: &[&str],
    measure: impl Fn(&Job) -> Result<Measured, String> + Sync,
) -> Result<Vec<(String, Outcome)>, LogError> {
    let (mut view, mut seen) = (log.load()?, Seen::default());
    let now = || at("2031-03-05T00:00:00Z");
    let target = Target { log, view: &mut view, seen: &mut seen, now: &now };
    let mut done = Vec::new();
    import(names.iter().map(PathBuf::from).collect(), target, look, measure, |Done { path, outcome }, _| {
        done.push((path.display().to_string(), outcome));
    })?;
    Ok(done)
}

fn word(outcome: &Outcome) -> &'static str {
    match outcome {
        Outcome::Logged { .. } => "logged",
        Outcome::Known => "known",
        Outcome::Copy { .. } => "copy",
        Outcome::Refused { .. } => "refused",
    }
}

fn words(done: &[(String, Outcome)]) -> Vec<(&str, &str)> {
    let mut words: Vec<_> = done.iter().map(|(name, outcome)| (name.as_str(), word(outcome))).collect();
    words.sort_unstable();
    words
}

fn logged_hours(log: &Log) -> Vec<i64> {
    let start = at("2031-03-04T00:00:00Z");
    let loaded = log.load().unwrap();
    loaded.live().map(|live| (live.entry.at().unwrap() - start).num_hours()).collect()
}

#[test]
fn photos_are_logged_in_order_of_capture_and_none_twice() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    let names = ["c-3", "a-1", "bad-2", "strip-5", "a-4", "e-x", "b-2"];
    let done = run(&log, &names, measure).unwrap();
    let expected = [
        ("a-1", "logged"),
        ("a-4", "copy"),
        ("b-2", "logged"),
        ("bad-2", "refused"),
        ("c-3", "logged"),
        ("e-x", "refused"),
        ("strip-5", "logged"),
    ];
    assert_eq!(words(&done), expected);
    assert_eq!(logged_hours(&log), [1, 2, 3, 5, 5, 5]);
    let again = run(&log, &["renamed-9", "c-7", "strip-5"], measure).unwrap();
    assert_eq!(words(&again), [("c-7", "known"), ("renamed-9", "logged"), ("strip-5", "known")]);
}

#[test]
fn the_time_and_its_doubts_come_from_the_look() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    run(&log, &["a-1"], measure).unwrap();
    let loaded = log.load().unwrap();
    let Some(crate::log::Entry::Reading(reading)) = loaded.live().next().map(|live| live.entry) else {
        panic!()
    };
    assert_eq!(reading.measurement.taken_at, at("2031-03-04T01:00:00Z"));
    assert_eq!(reading.measurement.flags, [Flag::DimPhoto, Flag::TimeZoneUnknown]);
}

#[test]
fn a_fault_of_the_program_on_one_photo_does_not_stop_the_rest() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    let done = run(&log, &["bug-1", "a-2", "bug2-3", "c-4"], measure).unwrap();
    assert_eq!(
        words(&done),
        [("a-2", "logged"), ("bug-1", "refused"), ("bug2-3", "refused"), ("c-4", "logged")]
    );
}

#[test]
fn a_photo_that_was_only_partly_written_is_completed() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    run(&log, &["strip-1"], measure).unwrap();
    let text = std::fs::read_to_string(log.path()).unwrap();
    for kept in 1..=2 {
        let cut: String = text.split_inclusive('\n').take(kept).collect();
        std::fs::write(log.path(), cut).unwrap();
        assert_eq!(words(&run(&log, &["strip-1"], measure).unwrap()), [("strip-1", "logged")]);
        let loaded = log.load().unwrap();
        assert_eq!((loaded.live().count(), loaded.problems().len()), (3, 0));
    }
    assert_eq!(words(&run(&log, &["strip-1"], measure).unwrap()), [("strip-1", "known")]);
}

#[test]
fn what_was_logged_before_an_interruption_is_not_measured_again() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    run(&log, &["a-1", "b-2"], measure).unwrap();
    let measured = Mutex::new(HashSet::new());
    let watched = |job: &Job| {
        measured.lock().unwrap().insert(job.looked.hash.clone());
        measure(job)
    };
    run(&log, &["a-1", "b-2", "c-3"], watched).unwrap();
    assert_eq!(measured.into_inner().unwrap(), HashSet::from(["c".to_owned()]));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    /// However long each takes, the log is in order of capture and the count is right.
    #[test]
    fn the_order_does_not_depend_on_how_long_a_photo_takes(
        photos in proptest::collection::btree_map("[a-z]{1,6}", (0..100_i64, 0..3_u64), 0..20),
    ) {
        let home = tempfile::tempdir().unwrap();
        let log = Log::at(home.path());
        let names: Vec<String> = photos.iter().map(|(hash, (hour, _))| format!("q{hash}-{hour}")).collect();
        let slow = |job: &Job| {
            let (_, delay) = photos[&job.looked.hash[1..]];
            std::thread::sleep(std::time::Duration::from_millis(delay));
            measure(job)
        };
        run(&log, &names.iter().map(String::as_str).collect::<Vec<_>>(), slow).unwrap();
        let hours = logged_hours(&log);
        prop_assert_eq!(hours.len(), photos.len());
        prop_assert!(hours.is_sorted());
    }
}
