//! What the log costs, as ratios to plain ways of doing the same.
//!
//! `cargo bench --bench log` prints each ratio beside its bound and fails if one is missed.
//! `TINTWELL_LOG_RECORDS` sets the size of the log, `TINTWELL_LOG_PHOTOS` the number of photos.

use std::env;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use chrono::{DateTime, FixedOffset, TimeDelta};
use rayon::prelude::*;
use tintwell::log::import::photos::{self, Job, Looked, Measured, Target};
use tintwell::log::import::seen::Seen;
use tintwell::log::{Entry, Log, PhotoSource, Reading, Source, content_hash};
use tintwell::reading::{Measurement, Status};
use tintwell::terms::Analyte;

/// Set in the processes that this program starts to import photos with one core and with two.
const IMPORTER: &str = "TINTWELL_BENCH_IMPORTER";
/// `log` to import, `plain` to decode alone, `asleep` to import with waiting instead of decoding.
const WAY: &str = "TINTWELL_BENCH_WAY";

fn main() {
    if let Some(folder) = env::var_os(IMPORTER) {
        return import_photos(Path::new(&folder));
    }
    let records = number("TINTWELL_LOG_RECORDS", 1_000_000);
    let home = tempfile::tempdir().unwrap();
    let log = filled(home.path(), records);
    println!("a log of {records} records, {} MB", log.path().metadata().unwrap().len() >> 20);
    let mut missed = 0;
    let mut ratio = |what: &str, ours: Duration, plain: Duration, bound: f64| {
        let ratio = ours.as_secs_f64() / plain.as_secs_f64();
        println!("{what}: {ratio:.2} (bound {bound}); {ours:?} against {plain:?}");
        missed += usize::from(ratio > bound);
    };
    let last = median(51, || assert_eq!(log.last(20, |_| true).unwrap().len(), 20));
    ratio("last 20 records to reading and parsing them", last, median(51, || plain_tail(log.path())), 3.0);
    let scan = median(3, || assert_eq!(log.load().unwrap().records().len(), records));
    let plain = median(3, || assert_eq!(plain_scan(log.path()), records));
    ratio("full scan to a plain parse line by line", scan, plain, 2.0);
    let count = number("TINTWELL_LOG_PHOTOS", 48);
    let photos = photos_folder(count);
    // A busy machine has fewer cores to give than it has: plain decoding shows how many, run in turn.
    let rounds: Vec<[Duration; 4]> = (0..3)
        .map(|_| {
            [("log", 1), ("log", 2), ("plain", 1), ("plain", 2)]
                .map(|(way, threads)| import_with(photos.path(), way, threads).0)
        })
        .collect();
    let [one, two, plain_one, plain_two] =
        [0, 1, 2, 3].map(|at| rounds.iter().map(|round| round[at].as_secs_f64()).fold(f64::MAX, f64::min));
    println!(
        "speed-up by a second core: {:.2} (bound 1.8), of plain decoding {:.2}",
        one / two,
        plain_one / plain_two
    );
    let [one_asleep, two_asleep] =
        [1, 2].map(|threads| import_with(photos.path(), "asleep", threads).0.as_secs_f64());
    println!(
        "speed-up where measuring is waiting, which others do not disturb: {:.2} (bound 1.8)",
        one_asleep / two_asleep
    );
    missed += usize::from(one_asleep / two_asleep < 1.8);
    let is_slower = one / two < (0.9 * plain_one / plain_two).min(1.8);
    missed += usize::from(is_slower);
    let (_, memory) = import_with(photos.path(), "log", 2);
    let few = photos_folder(count / 4);
    let (_, memory_of_few) = import_with(few.path(), "log", 2);
    let growth = memory as f64 / memory_of_few as f64;
    println!("peak memory of {count} photos to {}: {growth:.2} (bound 1.2); {memory} kB", count / 4);
    missed += usize::from(growth > 1.2);
    assert_eq!(missed, 0, "{missed} bounds missed");
}

fn number(name: &str, default: usize) -> usize {
    env::var(name).map_or(default, |text| text.parse().unwrap())
}

fn median(times: usize, mut work: impl FnMut()) -> Duration {
    let mut taken: Vec<Duration> = (0..times)
        .map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed()
        })
        .collect();
    taken.sort();
    taken[times / 2]
}

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2031-03-04T18:05:00+01:00").unwrap()
}

fn entry(n: usize) -> Entry {
    let value = (n % 97) as f64 / 10.0;
    Entry::Reading(Reading {
        tank: format!("tank {}", n % 7),
        measurement: Measurement {
            analyte: Analyte::ALL[n % 6],
            status: Status::Read,
            value: Some(value),
            low: Some(0.9 * value),
            high: Some(1.1 * value),
            taken_at: start() + TimeDelta::minutes(n as i64),
            flags: Vec::new(),
        },
        source: Source::Csv { file: "readings.csv".to_owned(), line: n as u64 },
        note: String::new(),
    })
}

fn filled(home: &Path, records: usize) -> Log {
    let log = Log::at(home);
    for first in (0..records).step_by(10_000) {
        let batch: Vec<Entry> = (first..records.min(first + 10_000)).map(entry).collect();
        log.append(&batch, start()).unwrap();
    }
    log
}

/// The last 20 lines found and parsed by hand, knowing that they fit into 16 kB.
fn plain_tail(path: &Path) {
    let mut file = File::open(path).unwrap();
    let length = file.metadata().unwrap().len();
    file.seek(SeekFrom::Start(length.saturating_sub(16 << 10))).unwrap();
    let mut text = String::new();
    file.read_to_string(&mut text).unwrap();
    let parsed =
        text.lines().rev().take(20).filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    assert_eq!(parsed.count(), 20);
}

fn plain_scan(path: &Path) -> usize {
    let lines = BufReader::new(File::open(path).unwrap()).lines();
    lines.fold(0, |count, line| {
        std::hint::black_box(serde_json::from_str::<serde_json::Value>(&line.unwrap()).unwrap());
        count + 1
    })
}

/// Drawn pictures of three megapixels, each another.
fn photos_folder(count: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for n in 0..count {
        let shade = (n * 5 % 256) as u8;
        let picture = image::RgbImage::from_fn(2048, 1536, |x, y| {
            image::Rgb([shade, (x * 7 % 251) as u8, (x * y % 255) as u8])
        });
        picture.save(folder.path().join(format!("{n}.jpg"))).unwrap();
    }
    folder
}

/// Wall time and peak memory (kB; 0 where the system does not tell) of an import in its own process.
fn import_with(folder: &Path, way: &str, threads: usize) -> (Duration, usize) {
    let output = Command::new(env::current_exe().unwrap())
        .env(IMPORTER, folder)
        .env(WAY, way)
        .env("RAYON_NUM_THREADS", threads.to_string())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    let mut words = text.split_whitespace().map(|word| word.parse::<usize>().unwrap());
    (Duration::from_micros(words.next().unwrap() as u64), words.next().unwrap())
}

/// Imports a folder; decoding stands for measuring.
fn import_photos(folder: &Path) {
    let paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    let count = paths.len();
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    let (mut view, mut seen) = (log.load().unwrap(), Seen::default());
    let target = Target { log: &log, view: &mut view, seen: &mut seen, now: &start };
    if env::var(WAY).is_ok_and(|way| way == "plain") {
        let begun = Instant::now();
        paths.par_iter().for_each(|path| drop(image::open(path).unwrap().into_rgb8()));
        println!("{} 0", begun.elapsed().as_micros());
        return;
    }
    let begun = Instant::now();
    photos::import(paths, target, look, measure, |_, _| {}).unwrap();
    let taken = begun.elapsed();
    assert_eq!(log.load().unwrap().records().len(), count);
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next());
    println!("{} {}", taken.as_micros(), peak.unwrap_or("0"));
}

fn look(path: &Path) -> Result<Looked, String> {
    let bytes = std::fs::read(path).map_err(|error| error.to_string())?;
    Ok(Looked { hash: content_hash(&bytes), taken_at: start(), flags: Vec::new() })
}

fn measure(job: &Job) -> Result<Measured, String> {
    let size = if env::var(WAY).is_ok_and(|way| way == "asleep") {
        std::thread::sleep(Duration::from_millis(60));
        0
    } else {
        image::open(&job.path).map_err(|error| error.to_string())?.into_rgb8().len()
    };
    let Entry::Reading(mut reading) = entry(size % 60) else { unreachable!() };
    reading.measurement.analyte = Analyte::Ammonia;
    let source = PhotoSource {
        photo: job.path.display().to_string(),
        hash: job.looked.hash.clone(),
        chart: None,
        sample: None,
        parts: None,
    };
    Ok(Measured { tank: "A".to_owned(), readings: vec![(reading.measurement, source)], refused: Vec::new() })
}
