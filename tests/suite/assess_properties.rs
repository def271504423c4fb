//! What must hold of every verdict, whatever the log: drawn at random, contradictions and all.

use chrono::{DateTime, Duration, FixedOffset};
use proptest::prelude::*;

use tintwell::cycle::proof::Outcome;
use tintwell::cycle::stage::Stage;
use tintwell::cycle::{Deed, TankHistory, assess};
use tintwell::reading::{Measurement, Status};
use tintwell::terms::{Analyte, EventKind, TankFacts};

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2031-03-01T10:00:00+01:00").unwrap()
}

fn at(hours: i64) -> DateTime<FixedOffset> {
    start() + Duration::hours(hours)
}

fn measurement() -> impl Strategy<Value = Measurement> {
    let value = prop_oneof![Just(0.0), 0.0..12.0f64, Just(-3.0), Just(1e9)];
    let status = prop_oneof![
        4 => Just(Status::Read),
        1 => Just(Status::AboveRange),
        1 => Just(Status::BelowDetection)
    ];
    (0..6usize, value, status, 0..400i64, proptest::option::of(0.0..2.0f64)).prop_map(
        |(analyte, value, status, hours, width)| Measurement {
            analyte: Analyte::ALL[analyte],
            status,
            value: Some(value),
            low: width.map(|width| value - width),
            high: width.filter(|_| status != Status::AboveRange).map(|width| value + width),
            taken_at: at(hours),
            flags: Vec::new(),
        },
    )
}

fn deed() -> impl Strategy<Value = Deed> {
    (0..9usize, proptest::option::of(0.0..120.0f64), 0..400i64).prop_map(|(kind, amount, hours)| Deed {
        kind: EventKind::ALL[kind],
        amount,
        at: at(hours),
        note: String::new(),
        is_supposed: false,
    })
}

fn history() -> impl Strategy<Value = TankHistory> {
    let volume = proptest::option::of(prop_oneof![Just(0.0), 10.0..500.0f64]);
    (proptest::collection::vec(measurement(), 0..24), proptest::collection::vec(deed(), 0..8), volume)
        .prop_map(|(measurements, deeds, volume_l)| TankHistory {
            facts: TankFacts { tank: "random".to_owned(), volume_l, ..TankFacts::default() },
            measurements,
            deeds,
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn ready_needs_a_passed_proof_and_every_verdict_has_advice(history in history()) {
        let said = assess(&history, at(420));
        if said.ready {
            prop_assert_eq!(said.outcome, Outcome::Passed);
            prop_assert_eq!(said.stage, Stage::Cycled);
            prop_assert!(said.obstacles.is_empty() && said.ready_on.is_none());
        } else {
            prop_assert!(!said.obstacles.is_empty());
        }
        prop_assert_eq!(said.stall_cause.is_some(), said.stage == Stage::Stalled);
        prop_assert!(!said.advice.is_empty());
        prop_assert!((0.0..=1.0).contains(&said.passes_now));
        if let Some(on) = said.ready_on {
            prop_assert!(on.earliest <= on.likely && on.likely <= on.latest);
        }
    }

    #[test]
    fn the_order_of_a_log_does_not_matter(history in history()) {
        let mut backward = history.clone();
        backward.deeds.reverse();
        let (one, other) = (assess(&history, at(200)), assess(&backward, at(200)));
        prop_assert_eq!(one.ready, other.ready);
        prop_assert_eq!(one.outcome, other.outcome);
    }
}
