//! Writers that are killed at any moment, many at once: nothing that was reported as written is lost.
//!
//! The writers are real processes: this test program started again. `TINTWELL_KILLED_WRITERS` and
//! `TINTWELL_KILLED_RECORDS` set how many writers are killed at least and how many records they must
//! have reported before the test ends; the defaults keep an ordinary run short. A killed process does not
//! show what a power cut does: that rests on `fsync`.

use std::collections::HashMap;
use std::env;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use tintwell::log::{Entry, Event, Log};
use tintwell::terms::{EventKind, TankFacts};

const HOME: &str = "TINTWELL_TEST_WRITER_HOME";
const NAME: &str = "TINTWELL_TEST_WRITER_NAME";

/// Not a test of its own: the writing process of the tests below, which never ends by itself.
#[test]
fn writer() {
    let (Ok(home), Ok(name)) = (env::var(HOME), env::var(NAME)) else { return };
    let log = Log::at(Path::new(&home));
    let now = now();
    let mut random = Pcg64::seed_from_u64(name.bytes().map(u64::from).sum());
    let mut next = 0;
    loop {
        // Mostly a line or a few; now and then so many that the system writes them in several steps.
        let (count, padding) =
            if random.random_bool(0.05) { (60, 3_900) } else { (random.random_range(1..8), 0) };
        let entries: Vec<Entry> = (next..next + count)
            .map(|n| {
                Entry::Event(Event {
                    tank: name.clone(),
                    kind: EventKind::Food,
                    amount: Some(f64::from(n)),
                    at: now,
                    note: "x".repeat(padding),
                })
            })
            .collect();
        let ids = log.append(&entries, now).unwrap().ids;
        let mut out = std::io::stdout().lock();
        for (id, n) in ids.iter().zip(next..) {
            writeln!(out, "wrote {id} {n}").unwrap();
        }
        out.flush().unwrap();
        next += count;
    }
}

fn now() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2031-03-05T08:00:00+01:00").unwrap()
}

fn tank() -> Entry {
    Entry::Tank(TankFacts { tank: "A".to_owned(), ..TankFacts::default() })
}

fn start(home: &Path, role: &str, name: &str) -> Child {
    Command::new(env::current_exe().unwrap())
        .args(["--exact", &format!("log_survives_kill::{role}"), "--nocapture"])
        .env(HOME, home)
        .env(NAME, name)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Lets a writer report about `acks` records, kills it a moment later, and gives all it had reported.
fn kill_after(mut writer: Child, acks: usize, delay: Duration) -> Vec<(u64, f64)> {
    let mut lines = BufReader::new(writer.stdout.take().unwrap()).lines();
    let mut reported = Vec::new();
    let mut take = |line: String| {
        let mut words = line.rsplit(' ');
        if let (Some(n), Some(id), true) = (words.next(), words.next(), line.contains("wrote ")) {
            reported.push((id.parse().unwrap(), n.parse().unwrap()));
        }
        reported.len()
    };
    while let Some(Ok(line)) = lines.next() {
        if take(line) >= acks {
            break;
        }
    }
    thread::sleep(delay);
    writer.kill().unwrap();
    writer.wait().unwrap();
    // What stands in the pipe was reported before the end; a last line may be cut short.
    let rest: Vec<String> = lines.map_while(Result::ok).collect();
    let whole = |line: &String| line.split(' ').filter(|word| !word.is_empty()).count() == 3;
    rest.into_iter().filter(whole).for_each(|line| {
        take(line);
    });
    reported
}

fn number(name: &str, default: usize) -> usize {
    env::var(name).map_or(default, |text| text.parse().unwrap())
}

#[test]
fn records_reported_by_killed_writers_are_all_in_the_log() {
    let (writers, records) =
        (number("TINTWELL_KILLED_WRITERS", 60), number("TINTWELL_KILLED_RECORDS", 1_000));
    let per_writer = records.div_ceil(writers);
    let home = tempfile::tempdir().unwrap();
    let mut random = Pcg64::seed_from_u64(20_310_305);
    let mut reported: HashMap<(u64, String), f64> = HashMap::new();
    let mut killed = 0;
    while killed < writers || reported.len() < records {
        let handles: Vec<_> = (0..3)
            .map(|_| {
                killed += 1;
                let name = format!("writer {killed}");
                let (acks, delay) = (random.random_range(0..=2 * per_writer), random.random_range(0..6_000));
                let writer = start(home.path(), "writer", &name);
                thread::spawn(move || (name, kill_after(writer, acks, Duration::from_micros(delay))))
            })
            .collect();
        for handle in handles {
            let (name, wrote) = handle.join().unwrap();
            reported.extend(wrote.into_iter().map(|(id, n)| ((id, name.clone()), n)));
        }
    }
    let total = reported.len();
    check(home.path(), reported);
    let aside = std::fs::read_dir(home.path())
        .unwrap()
        .filter(|entry| entry.as_ref().unwrap().file_name().to_string_lossy().starts_with("log-torn-"))
        .count();
    println!("{killed} writers killed, {total} records reported, {aside} torn lines set aside");
}

/// Reads the file with a plain JSON parser: every line is whole, every number stands once, and every
/// record that was reported is there with its contents.
fn check(home: &Path, mut reported: HashMap<(u64, String), f64>) {
    // The next writer puts a torn end aside.
    let log = Log::at(home);
    log.append(&[tank()], now()).unwrap();
    let text = std::fs::read_to_string(log.path()).unwrap();
    assert!(text.ends_with('\n'));
    for (expected, line) in (1_u64..).zip(text.lines()) {
        let record: serde_json::Value =
            serde_json::from_str(line).unwrap_or_else(|error| panic!("line {expected}: {error}"));
        assert_eq!(record["id"], expected, "numbers rise by one from line to line");
        let name = record["tank"].as_str().unwrap().to_owned();
        if let Some(n) = reported.remove(&(expected, name)) {
            assert_eq!(record["amount"], n, "line {expected}");
        }
    }
    assert!(reported.is_empty(), "{} reported records are missing", reported.len());
    let loaded = log.load().unwrap();
    assert_eq!(loaded.problems(), []);
}

/// Not a test of its own: a process that takes the lock and never gives it back.
#[test]
fn holder() {
    let (Ok(home), Ok("holder")) = (env::var(HOME), env::var(NAME).as_deref()) else { return };
    let lock = File::create(Path::new(&home).join("log.lock")).unwrap();
    lock.lock().unwrap();
    println!("holds the lock");
    loop {
        thread::sleep(Duration::from_secs(60));
    }
}

#[test]
fn a_writer_waits_for_the_lock_and_a_dead_holder_blocks_nobody() {
    let home = tempfile::tempdir().unwrap();
    let mut holder = start(home.path(), "holder", "holder");
    let mut lines = BufReader::new(holder.stdout.take().unwrap()).lines();
    lines.find(|line| line.as_ref().unwrap().contains("holds the lock")).unwrap().unwrap();
    let (log, now) = (Log::at(home.path()), now());
    let waiting = thread::spawn(move || log.append(&[tank()], now).unwrap());
    thread::sleep(Duration::from_millis(200));
    assert!(!waiting.is_finished(), "the lock is held, so nobody else writes");
    holder.kill().unwrap();
    holder.wait().unwrap();
    assert_eq!(waiting.join().unwrap().ids.len(), 1);
}

#[test]
fn two_writers_at_once_lose_and_interleave_nothing() {
    let home = tempfile::tempdir().unwrap();
    let writers = ["left", "right"].map(|name| (name, start(home.path(), "writer", name)));
    let handles = writers
        .map(|(name, writer)| thread::spawn(move || (name, kill_after(writer, 1_500, Duration::ZERO))));
    let mut reported = HashMap::new();
    for handle in handles {
        let (name, wrote) = handle.join().unwrap();
        assert!(wrote.len() >= 1_500);
        reported.extend(wrote.into_iter().map(|(id, n)| ((id, name.to_owned()), n)));
    }
    check(home.path(), reported);
}
