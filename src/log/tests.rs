//! The log as a whole, on real files.

use std::fs;
use std::path::Path;

use chrono::{DateTime, FixedOffset};
use proptest::prelude::*;

use super::record::{Amount, Change, Check, Correction, Value, Verdict};
use super::*;
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind, Flag, TankFacts};

pub(super) fn at(text: &str) -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339(text).unwrap()
}

fn now() -> DateTime<FixedOffset> {
    at("2031-03-05T08:00:00+01:00")
}

pub(super) fn typed(tank: &str, analyte: Analyte, value: f64) -> Entry {
    Entry::Reading(Reading {
        tank: tank.to_owned(),
        measurement: Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: None,
            high: None,
            taken_at: at("2031-03-04T18:05:00+01:00"),
            flags: Vec::new(),
        },
        source: Source::Hand { typed: None },
        note: String::new(),
    })
}

fn dose(amount: f64) -> Entry {
    Entry::Event(Event {
        tank: "Lily pond".to_owned(),
        kind: EventKind::AmmoniaDose,
        amount: Some(amount),
        at: at("2031-03-03T09:00:00Z"),
        note: "half a spoon".to_owned(),
    })
}

fn one_of_each_kind() -> Vec<Entry> {
    let mut photo = typed("Lily pond", Analyte::Nitrite, 0.4);
    if let Entry::Reading(reading) = &mut photo {
        reading.source = Source::Photo(PhotoSource {
            photo: "in/ä \"quoted\".jpg".to_owned(),
            hash: "scan:00ff".to_owned(),
            chart: Some("blue kit".to_owned()),
            sample: Some(SampleBox { x: 812, y: 604, width: 96, height: 310 }),
            parts: Some(1),
        });
        reading.measurement.flags = vec![Flag::GlareRemoved, Flag::DimPhoto];
        (reading.measurement.low, reading.measurement.high) = (Some(0.3), Some(0.5));
    }
    vec![
        typed("Lily pond", Analyte::Ammonia, 1.2),
        photo,
        dose(2.0),
        Entry::Tank(TankFacts {
            tank: "Lily pond".to_owned(),
            volume_l: Some(110.0),
            ..TankFacts::default()
        }),
        Entry::Check(Check {
            chart: "blue kit".to_owned(),
            analyte: Analyte::Nitrate,
            known: 40.0,
            value: Some(38.5),
            low: Some(30.0),
            high: Some(47.0),
            at: now(),
        }),
        Entry::Correction(Correction {
            of: Id(1),
            set: Change {
                reading: Some(Value { analyte: Analyte::Ammonia, value: 1.5 }),
                at: Some(now()),
                ..Change::default()
            },
            reason: "misread".to_owned(),
        }),
        Entry::Withdrawal(Verdict { of: Id(3), reason: "spilt".to_owned() }),
        Entry::Restoration(Verdict { of: Id(3), reason: String::new() }),
    ]
}

fn log_with(folder: &Path, entries: &[Entry]) -> Log {
    let log = Log::at(folder);
    log.append(entries, now()).unwrap();
    log
}

fn entries(loaded: &Loaded) -> Vec<Entry> {
    loaded.records().iter().map(|record| record.entry.clone()).collect()
}

#[test]
fn every_kind_of_record_is_read_as_it_was_written() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &one_of_each_kind());
    let loaded = log.load().unwrap();
    assert_eq!(entries(&loaded), one_of_each_kind());
    assert_eq!(loaded.problems(), []);
    assert!(loaded.records().iter().all(|record| record.logged_at == now()));
}

#[test]
fn numbers_rise_by_one_from_append_to_append() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    let pair = [dose(1.0), dose(2.0)];
    assert_eq!(log.append(&pair, now()).unwrap().ids, [Id(1), Id(2)]);
    assert_eq!(log.append(&pair, now()).unwrap().ids, [Id(3), Id(4)]);
}

#[test]
fn an_empty_home_holds_nothing_and_nothing_is_made_by_looking() {
    let home = tempfile::tempdir().unwrap();
    let below = home.path().join("not yet");
    assert!(Log::at(&below).load().unwrap().records().is_empty());
    assert!(!below.exists());
}

#[test]
fn a_correction_replaces_the_value_and_its_interval_and_keeps_the_first_record() {
    let home = tempfile::tempdir().unwrap();
    let loaded = log_with(home.path(), &one_of_each_kind()).load().unwrap();
    let live = loaded.find(Id(1)).unwrap();
    let Entry::Reading(reading) = live.entry else { panic!("not a reading") };
    assert_eq!((reading.measurement.value, reading.measurement.taken_at), (Some(1.5), now()));
    assert!(live.is_corrected());
    assert_eq!(live.record.entry, one_of_each_kind()[0]);
}

#[test]
fn a_withdrawn_entry_does_not_count_until_it_is_restored() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[dose(1.0), dose(2.0)]);
    let count = |log: &Log| log.load().unwrap().live().count();
    let verdict = |of| Verdict { of: Id(of), reason: String::new() };
    log.append(&[Entry::Withdrawal(verdict(1))], now()).unwrap();
    assert_eq!(count(&log), 1);
    log.append(&[Entry::Restoration(verdict(1))], now()).unwrap();
    assert_eq!(count(&log), 2);
}

#[test]
fn later_facts_replace_earlier_ones_and_leave_the_rest() {
    let facts = |volume_l, water: Option<&str>| {
        Entry::Tank(TankFacts {
            tank: "A".to_owned(),
            volume_l,
            water: water.map(str::to_owned),
            ..TankFacts::default()
        })
    };
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[facts(Some(90.0), Some("fresh")), facts(Some(85.0), None)]);
    let told = log.load().unwrap().facts("A");
    assert_eq!((told.volume_l, told.water.as_deref()), (Some(85.0), Some("fresh")));
}

#[test]
fn damaged_lines_are_reported_with_their_place_and_hide_no_other() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[dose(1.0)]);
    let mut text = fs::read(log.path()).unwrap();
    text.extend(b"\0\0\0\nnot json\n{\"v\":9,\"kind\":\"dream\",\"id\":2}\n\n{\"v\":1,\"kind\":\"event\",\"id\":3,\"logged_at\":\"2031-01-01T00:00:00Z\"}\n");
    fs::write(log.path(), text).unwrap();
    assert_eq!(log.append(&[dose(2.0)], now()).unwrap().ids, [Id(4)]);
    let loaded = log.load().unwrap();
    assert_eq!(entries(&loaded), [dose(1.0), dose(2.0)]);
    let lines: Vec<u64> = loaded.problems().iter().map(|problem| problem.line).collect();
    assert_eq!(lines, [2, 3, 4, 6]);
    assert!(loaded.problems()[2].why.contains("version 9"));
    assert!(loaded.problems()[3].to_string().contains("log.jsonl:6"));
}

#[test]
fn a_number_that_stands_twice_is_reported_and_cannot_be_corrected() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[dose(1.0), dose(2.0)]);
    let text = fs::read_to_string(log.path()).unwrap();
    fs::write(log.path(), format!("{text}{text}")).unwrap();
    let loaded = log.load().unwrap();
    assert_eq!(loaded.live().count(), 4);
    assert_eq!(loaded.problems().len(), 2);
    assert!(matches!(loaded.find(Id(2)), Err(LogError::Ambiguous(Id(2)))));
}

#[test]
fn nonsense_is_refused_before_a_byte_is_written() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    for bad in [
        typed("", Analyte::Ammonia, 1.0),
        typed("red\u{1b}[31m", Analyte::Ammonia, 1.0),
        typed("\u{202e}right to left", Analyte::Ammonia, 1.0),
        typed("A", Analyte::Ammonia, f64::NAN),
        typed("A", Analyte::Ammonia, f64::INFINITY),
        dose(f64::NEG_INFINITY),
    ] {
        assert!(matches!(log.append(&[dose(1.0), bad], now()), Err(LogError::Invalid { .. })));
    }
    assert!(!log.path().exists());
}

#[test]
fn a_torn_last_line_is_set_aside_under_a_name_and_blocks_nothing() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[dose(1.0)]);
    let mut text = fs::read(log.path()).unwrap();
    text.extend(br#"{"v":1,"kind":"eve"#);
    fs::write(log.path(), text).unwrap();
    assert_eq!(log.load().unwrap().live().count(), 1);
    let appended = log.append(&[dose(2.0)], now()).unwrap();
    let Some(TornTail::SetAside { file, bytes: 18 }) = appended.torn else { panic!("{appended:?}") };
    assert_eq!(fs::read(file).unwrap(), br#"{"v":1,"kind":"eve"#);
    assert_eq!(entries(&log.load().unwrap()), [dose(1.0), dose(2.0)]);
}

#[test]
fn a_last_line_that_only_lost_its_line_end_still_counts() {
    let home = tempfile::tempdir().unwrap();
    let log = log_with(home.path(), &[dose(1.0), dose(2.0)]);
    let text = fs::read_to_string(log.path()).unwrap();
    fs::write(log.path(), text.trim_end()).unwrap();
    let mut view = log.load().unwrap();
    assert_eq!(view.live().count(), 2);
    let appended = log.append_chosen(&mut view, now(), |_| Ok(vec![dose(3.0)])).unwrap();
    assert_eq!((appended.ids, appended.torn), (vec![Id(3)], Some(TornTail::Completed)));
    view.catch_up(log.path()).unwrap();
    assert_eq!(entries(&view), [dose(1.0), dose(2.0), dose(3.0)]);
    assert_eq!(view.problems(), []);
}

#[test]
fn a_chooser_sees_what_others_wrote_in_between() {
    let home = tempfile::tempdir().unwrap();
    let log = Log::at(home.path());
    let mut view = log.load().unwrap();
    log.append(&[dose(1.0)], now()).unwrap();
    let appended = log.append_chosen(&mut view, now(), |seen| {
        assert_eq!(seen.live().count(), 1);
        Ok(Vec::new())
    });
    assert_eq!(appended.unwrap(), Appended::default());
}

/// A log of many entries with corrections, withdrawals and restorations of earlier ones.
fn eventful(steps: &[(u8, u64)]) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::new();
    for (&(step, which), next) in steps.iter().zip(1..) {
        let of = Id(1 + which % next);
        let verdict = Verdict { of, reason: String::new() };
        let set = Change {
            note: Some(format!("note {next}")),
            event: (step % 2 == 0).then_some(Amount { kind: EventKind::Food, amount: Some(which as f64) }),
            ..Change::default()
        };
        let refers_up = of.0 < next && entries[of.0 as usize - 1].refers_to().is_none();
        entries.push(match step {
            0 | 1 if refers_up => Entry::Correction(Correction { of, set, reason: String::new() }),
            2 if refers_up => Entry::Withdrawal(verdict),
            3 if refers_up => Entry::Restoration(verdict),
            _ => dose(next as f64),
        });
    }
    entries
}

proptest! {
    /// Two ways to the same answer: from the top with everything, from the end with no more than needed.
    #[test]
    fn the_end_of_the_log_is_the_end_of_its_live_entries(
        steps in proptest::collection::vec((0..8_u8, any::<u64>()), 1..120),
        count in 0..40_usize,
        padding in 0..800_usize,
    ) {
        let home = tempfile::tempdir().unwrap();
        let log = log_with(home.path(), &eventful(&steps));
        let long = Entry::Event(Event {
            tank: "A".to_owned(), kind: EventKind::Food, amount: None, at: now(), note: "x".repeat(padding),
        });
        log.append(&vec![long; padding / 10], now()).unwrap();
        let loaded = log.load().unwrap();
        prop_assert_eq!(loaded.problems(), []);
        let live: Vec<(Id, Entry)> = loaded.live().map(|live| (live.record.id, live.entry.clone())).collect();
        let last: Vec<(Id, Entry)> =
            log.last(count, |_| true).unwrap().into_iter().map(|record| (record.id, record.entry)).collect();
        prop_assert_eq!(&last[..], &live[live.len().saturating_sub(count)..]);
    }

    /// Whatever is cut off the end, the records before the cut are read and the next write works.
    #[test]
    fn a_log_cut_anywhere_keeps_every_whole_record(cut in 0_usize..3_000) {
        let home = tempfile::tempdir().unwrap();
        let log = log_with(home.path(), &one_of_each_kind());
        let text = fs::read(log.path()).unwrap();
        let cut = cut.min(text.len());
        fs::write(log.path(), &text[..cut]).unwrap();
        let whole = text[..cut].iter().filter(|&&byte| byte == b'\n').count();
        let whole = whole + usize::from(cut < text.len() && text[cut] == b'\n');
        prop_assert_eq!(log.load().unwrap().records().len(), whole);
        log.append(&[dose(7.0)], now()).unwrap();
        let loaded = log.load().unwrap();
        prop_assert_eq!(&entries(&loaded)[..whole], &one_of_each_kind()[..whole]);
        prop_assert_eq!(loaded.records().len(), whole + 1);
        prop_assert_eq!(loaded.problems(), []);
    }

    #[test]
    fn any_words_and_numbers_survive_the_file(
        note in "\\PC{0,40}|[\\x00-\\x1f\"\\\\]{0,20}",
        value in proptest::num::f64::NORMAL | proptest::num::f64::ZERO | proptest::num::f64::SUBNORMAL,
        seconds in -60_000_000_000_i64..250_000_000_000,
        minutes in -14 * 60..=14 * 60_i32,
    ) {
        let zone = FixedOffset::east_opt(minutes * 60).unwrap();
        let when = DateTime::from_timestamp(seconds, 0).unwrap().with_timezone(&zone);
        let entry = Entry::Event(Event {
            tank: "A".to_owned(), kind: EventKind::Medicine, amount: Some(value), at: when, note,
        });
        let record = Record { id: Id(7), logged_at: when, entry };
        let line = wire::to_line(&record);
        prop_assert!(!line.contains('\n'));
        prop_assert_eq!(wire::from_line(line.as_bytes()), Ok(record));
    }

    #[test]
    fn no_line_makes_the_reader_panic(line in proptest::collection::vec(any::<u8>(), 0..200)) {
        let _ = wire::from_line(&line);
    }
}
