//! Judging one tank of a long log against parsing the log plainly, line by line.
//!
//! `cargo bench --bench assess`; `TINTWELL_LOG_RECORDS=1000000` tries larger logs. The logs are drawn with a
//! seed: fifty kept tanks, fed daily, their water changed weekly, tested in sessions of five readings; in
//! the second of each size nine records in ten are of the tank that is judged.

use std::env;
use std::fs::File;
use std::hint::black_box;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::time::{Duration, Instant};

use chrono::{DateTime, FixedOffset, TimeDelta};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use tintwell::cli::history::of_tank;
use tintwell::cycle::{TankHistory, assess};
use tintwell::log::record::Verdict;
use tintwell::log::{Entry, Event, Id, Log, PhotoSource, Reading, SampleBox, Source};
use tintwell::reading::{Measurement, Status};
use tintwell::terms::{Analyte, EventKind, TankFacts};

const TANKS: usize = 50;
const DAYS: f64 = 3650.0;
/// The largest log by default.
const RECORDS: usize = 200_000;
/// Loading the tank and, from [`LONG`] on, judging it too take at most so many times the time of plain parsing.
const BOUND: f64 = 2.0;
/// Judging a loaded tank may take so many times as long in a log four times as long: how many faults are suspected
/// in the last 100 days differs from log to log.
const STEADY: f64 = 2.5;
/// From so many records on, judging counts too: it costs about the same in any log.
const LONG: usize = 1_000_000;

/// Seconds that one log took.
struct Times {
    /// To load the tank.
    loaded: f64,
    /// To judge it then.
    judged: f64,
    /// To parse the log line by line.
    parsed: f64,
}

fn main() {
    let most = env::var("TINTWELL_LOG_RECORDS").map_or(RECORDS, |text| text.parse().unwrap());
    for share in [1.0 / TANKS as f64, 0.9] {
        println!("tank judged: {:.0} % of the records", 100.0 * share);
        let [short, _, long] = [most / 4, most / 2, most].map(|records| {
            let times @ Times { loaded, judged, parsed } = measure(records, share);
            let ratio = loaded / parsed;
            println!(
                "  {records} records: loaded in {loaded:.3} s, judged in {judged:.3} s, parsed in {parsed:.3} s: loading {ratio:.2}, both {:.2} (bound {BOUND})",
                (loaded + judged) / parsed
            );
            assert!(ratio < BOUND, "loading grows too fast with the log");
            assert!(records < LONG || loaded + judged < BOUND * parsed, "judging takes too long beside parsing");
            times
        });
        let ratio = |times: &Times| times.loaded / times.parsed;
        assert!(ratio(&long) < 1.5 * ratio(&short).max(0.5), "loading is not linear in the log");
        assert!(long.judged < STEADY * short.judged, "judging grows with the log");
    }
}

/// The least of five, by turns.
fn measure(records: usize, share: f64) -> Times {
    let home = tempfile::tempdir().unwrap();
    let log = filled(home.path(), records, share);
    let loaded = history(&log);
    let works: [&dyn Fn(); 3] =
        [&|| drop(black_box(history(&log))), &|| drop(black_box(assess(&loaded, at(DAYS)))), &|| {
            assert_eq!(plain_scan(log.path()), records);
        }];
    let mut least = [Duration::MAX; 3];
    for _ in 0..5 {
        for (least, work) in least.iter_mut().zip(works) {
            let begun = Instant::now();
            work();
            *least = begun.elapsed().min(*least);
        }
    }
    let [loaded, judged, parsed] = least.map(|time| time.as_secs_f64());
    Times { loaded, judged, parsed }
}

/// As the program makes it of the log.
fn history(log: &Log) -> TankHistory {
    of_tank(&log.load_tank("tank 0").unwrap())
}

fn plain_scan(path: &Path) -> usize {
    let lines = BufReader::new(File::open(path).unwrap()).lines();
    lines.fold(0, |count, line| {
        black_box(serde_json::from_str::<serde_json::Value>(&line.unwrap()).unwrap());
        count + 1
    })
}

fn at(day: f64) -> DateTime<FixedOffset> {
    let start = DateTime::parse_from_rfc3339("2021-01-01T10:00:00+01:00").unwrap();
    start + TimeDelta::seconds((86_400.0 * day) as i64)
}

fn filled(home: &Path, records: usize, share: f64) -> Log {
    let log = Log::at(home);
    let mut rng = Pcg64Mcg::seed_from_u64(11);
    let mut tanks: Vec<Tank> = (0..TANKS).map(Tank::new).collect();
    let mut batch: Vec<Entry> = tanks.iter().flat_map(Tank::beginning).collect();
    let mut written = 0;
    while written + batch.len() < records {
        let day = DAYS * (written + batch.len()) as f64 / records as f64;
        let index = if rng.random_bool(share) { 0 } else { rng.random_range(1..TANKS) };
        batch.extend(tanks[index].next(day, &mut rng));
        if rng.random_bool(0.002) {
            let verdict =
                Verdict { of: Id((written + 1).max(2 * TANKS) as u64), reason: "typed twice".to_owned() };
            batch.push(Entry::Withdrawal(verdict));
        }
        if batch.len() >= 10_000 {
            written += log.append(&batch, at(day)).unwrap().ids.len();
            batch.clear();
        }
    }
    batch.truncate(records - written);
    log.append(&batch, at(DAYS)).unwrap();
    log
}

/// A tank with what is due.
struct Tank {
    name: String,
    nitrate: f64,
    seen: f64,
    fed: f64,
    changed: f64,
}

impl Tank {
    fn new(index: usize) -> Self {
        Self { name: format!("tank {index}"), nitrate: 20.0, seen: 0.0, fed: 0.0, changed: 0.0 }
    }

    fn beginning(&self) -> [Entry; 2] {
        let facts = TankFacts { tank: self.name.clone(), volume_l: Some(100.0), ..TankFacts::default() };
        [Entry::Tank(facts), self.event(EventKind::FishAdded, 8.0, 0.0)]
    }

    fn next(&mut self, day: f64, rng: &mut Pcg64Mcg) -> Vec<Entry> {
        self.nitrate += 2.0 * (day - self.seen);
        self.seen = day;
        if day - self.fed > 1.0 {
            self.fed = day;
            return vec![self.event(EventKind::Food, 0.5, day)];
        }
        if day - self.changed > 7.0 {
            (self.changed, self.nitrate) = (day, 0.7 * self.nitrate);
            return vec![self.event(EventKind::WaterChange, 30.0, day)];
        }
        let mut near = |value: f64, error: f64| (value + rng.random_range(-error..error)).max(0.0);
        let read = [
            (Analyte::Ammonia, near(0.0, 0.05), 0.1),
            (Analyte::Nitrite, near(0.0, 0.05), 0.1),
            (Analyte::Nitrate, near(self.nitrate, 3.0), 6.0),
            (Analyte::Ph, near(7.4, 0.1), 0.2),
            (Analyte::Temperature, near(25.0, 0.5), 0.5),
        ];
        read.map(|(analyte, value, width)| self.reading(analyte, value, width, day, rng.random_bool(0.4)))
            .into()
    }

    fn event(&self, kind: EventKind, amount: f64, day: f64) -> Entry {
        let (tank, note) = (self.name.clone(), String::new());
        Entry::Event(Event { tank, kind, amount: Some(amount), at: at(day), note })
    }

    fn reading(&self, analyte: Analyte, value: f64, width: f64, day: f64, by_photo: bool) -> Entry {
        let hundredths = |value: f64| (100.0 * value).round() / 100.0;
        let photo = || PhotoSource {
            photo: format!("photos/{day:.3}.jpg"),
            hash: format!("{:064x}", (1e6 * day) as u64),
            chart: Some(format!("drops {analyte}")),
            sample: Some(SampleBox { x: 1200, y: 800, width: 160, height: 420 }),
            parts: Some(5),
        };
        let measurement = Measurement {
            analyte,
            status: Status::Read,
            value: Some(hundredths(value)),
            low: Some(hundredths((value - width).max(0.0))),
            high: Some(hundredths(value + width)),
            taken_at: at(day),
            flags: Vec::new(),
        };
        let source = if by_photo { Source::Photo(photo()) } else { Source::Hand { typed: None } };
        Entry::Reading(Reading { tank: self.name.clone(), measurement, source, note: String::new() })
    }
}
