//! One tank's part of the log.

use super::load::{Live, Loaded, Problem, facts};
use crate::terms::TankFacts;

/// What counts of one tank; of readings without their sources and notes, for which [`super::Log::load`]
/// is to be asked.
#[derive(Debug)]
pub struct TankLog {
    tank: String,
    loaded: Loaded,
}

impl TankLog {
    pub(super) fn new(tank: &str, loaded: Loaded) -> Self {
        Self { tank: tank.to_owned(), loaded }
    }

    /// The tank's name.
    pub fn tank(&self) -> &str {
        &self.tank
    }

    /// The tank's entries that count, in the order of the file; corrections and withdrawals are worked in.
    pub fn live(&self) -> impl Iterator<Item = Live<'_>> {
        self.loaded.live().filter(|live| live.entry.tank() == Some(&self.tank))
    }

    /// Whether no entry that counts is about the tank.
    pub fn is_empty(&self) -> bool {
        self.live().next().is_none()
    }

    /// What has been told of the tank; later facts replace earlier ones.
    pub fn facts(&self) -> TankFacts {
        facts(&self.tank, self.live())
    }

    /// Lines of the whole log that could not be taken into account.
    pub fn problems(&self) -> &[Problem] {
        self.loaded.problems()
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use proptest::prelude::*;

    use super::*;
    use crate::log::record::{Change, Check, Correction, Value, Verdict};
    use crate::log::tests::{at, typed};
    use crate::log::{Entry, Event, Id, Log, Record, Source, wire};
    use crate::terms::{Analyte, EventKind};

    const TANKS: [&str; 2] = ["pond", "hallway"];

    fn entry() -> impl Strategy<Value = Entry> {
        let tank = || proptest::sample::select(&TANKS[..]);
        let set =
            (proptest::option::of(tank()), proptest::option::of(0..9u8)).prop_map(|(tank, value)| Change {
                tank: tank.map(str::to_owned),
                reading: value.map(|value| Value { analyte: Analyte::Nitrite, value: f64::from(value) }),
                ..Change::default()
            });
        let verdict = || (1..12u64).prop_map(|of| Verdict { of: Id(of), reason: String::new() });
        prop_oneof![
            4 => (tank(), 0..9u8).prop_map(|(tank, value)| typed(tank, Analyte::Ammonia, f64::from(value))),
            2 => (tank(), 0..9u8).prop_map(|(tank, amount)| Entry::Event(Event {
                tank: tank.to_owned(),
                kind: EventKind::AmmoniaDose,
                amount: Some(f64::from(amount)),
                at: at("2031-03-03T09:00:00Z"),
                note: "by spoon".to_owned(),
            })),
            1 => (tank(), 1..9u8).prop_map(|(tank, volume)| Entry::Tank(TankFacts {
                tank: tank.to_owned(),
                volume_l: Some(f64::from(volume)),
                ..TankFacts::default()
            })),
            1 => Just(Entry::Check(Check {
                chart: "blue kit".to_owned(),
                analyte: Analyte::Ammonia,
                known: 1.0,
                value: Some(1.0),
                low: None,
                high: None,
                at: at("2031-03-03T09:00:00Z"),
            })),
            2 => (1..12u64, set).prop_map(|(of, set)| {
                Entry::Correction(Correction { of: Id(of), set, reason: String::new() })
            }),
            1 => verdict().prop_map(Entry::Withdrawal),
            1 => verdict().prop_map(Entry::Restoration),
        ]
    }

    /// Lines of a file: records whose numbers mostly rise, now and then a damaged line.
    fn lines() -> impl Strategy<Value = String> {
        let line = (entry(), 0..12u8, 0..12u8);
        proptest::collection::vec(line, 0..24).prop_map(|lines| {
            let mut text = String::new();
            for (index, (entry, odd, damage)) in lines.into_iter().enumerate() {
                let id = Id(if odd == 0 { 3 } else { index as u64 + 1 });
                let record = Record { id, logged_at: at("2031-03-04T18:05:00Z"), entry };
                let line = wire::to_line(&record);
                text.push_str(if damage == 0 { &line[..line.len() / 2] } else { &line });
                text.push('\n');
            }
            text
        })
    }

    proptest! {
        /// The whole log is the reference, corrections that move entries between tanks among it.
        #[test]
        fn one_tank_is_loaded_as_it_stands_in_the_whole_log(text in lines()) {
            let home = tempfile::tempdir().unwrap();
            let log = Log::at(home.path());
            fs::write(log.path(), text).unwrap();
            let whole = log.load().unwrap();
            for tank in TANKS {
                let alone = log.load_tank(tank).unwrap();
                let of_whole: Vec<&Entry> =
                    whole.live().map(|live| live.entry).filter(|entry| entry.tank() == Some(tank)).collect();
                prop_assert_eq!(alone.live().map(|live| live.entry).collect::<Vec<_>>(), of_whole);
                prop_assert_eq!(alone.facts(), whole.facts(tank));
                prop_assert_eq!(alone.problems(), whole.problems());
            }
        }
    }

    #[test]
    fn where_a_reading_comes_from_is_left_out() {
        let home = tempfile::tempdir().unwrap();
        let log = Log::at(home.path());
        let mut reading = typed("pond", Analyte::Nitrite, 1.0);
        if let Entry::Reading(reading) = &mut reading {
            reading.source = Source::Csv { file: "a.csv".to_owned(), line: 3 };
        }
        log.append(&[reading, typed("hallway", Analyte::Nitrite, 2.0)], at("2031-03-05T08:00:00Z")).unwrap();
        let pond = log.load_tank("pond").unwrap();
        let entries: Vec<&Entry> = pond.live().map(|live| live.entry).collect();
        assert_eq!(entries, [&typed("pond", Analyte::Nitrite, 1.0)]);
        assert!(log.load_tank("kitchen").unwrap().is_empty());
    }
}
