//! Whether the bacteria keep up with the animals that live in the tank.
//!
//! With animals in the water no ammonia may be dosed, so that no proof comes about. What can be shown
//! instead is less: that ammonia and nitrite stay at zero while the animals are fed. It holds for these
//! animals and this food, and for no more.

use super::balance::Balance;
use super::history::Deed;
use super::proof::clearly_gone;
use super::series::{RECENT_DAYS, Sample, Series};
use super::track::Source;
use crate::terms::{EventKind, TankFacts};

/// Days from the first of the tests to the last (common practice: a week of daily tests).
const SPAN_DAYS: f64 = 6.0;
/// Tests within that time.
const TESTS: usize = 4;
/// Days without a test of both that a row of tests may have.
const GAP_DAYS: f64 = 8.0;

/// Days until what dead bacteria leave shows in a test (common practice); a test sooner tells nothing of it.
const SHOWS_AFTER_DAYS: f64 = 1.0;

/// A row of tests with animals in the tank, all of which found neither ammonia nor nitrite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Tests of both.
    pub tests: usize,
    /// Days from the first to the last.
    pub days: f64,
}

impl Load {
    /// The evidence in words.
    pub fn sentence(&self) -> String {
        format!(
            "ammonia and nitrite read as zero in {} tests over {:.0} days with animals in the tank, and nitrate is made: the bacteria keep up with these animals and this food; for more it is not shown",
            self.tests, self.days
        )
    }
}

/// The row of tests that ends with the latest one, if it shows that the bacteria keep up: by `balance` what
/// leaves ammonia and nitrite must be found as nitrate, or plants or a bloom might take it.
pub fn carried(series: &Series, facts: &TankFacts, balance: &Balance) -> Option<Load> {
    let made = balance.found_as_nitrate.is_some_and(|share| share.value > 2.0 * share.sd);
    if !made {
        return None;
    }
    let since = disturbed(series, facts);
    let mut row: Vec<&Sample> = Vec::new();
    for sample in series.samples.iter().rev().filter(|sample| sample.day > since) {
        let (Some(ammonia), Some(nitrite)) = (sample.ammonia, sample.nitrite) else { continue };
        let gap = row.last().map_or(0.0, |later| later.day - sample.day);
        if !clearly_gone(&ammonia, &nitrite) || gap > GAP_DAYS {
            break;
        }
        row.push(sample);
    }
    let (last, first) = (row.first()?, row.last()?);
    if poured_since(series, facts, last.day - SHOWS_AFTER_DAYS) {
        return None;
    }
    let days = last.day - first.day;
    let shown = row.len() >= TESTS && days >= SPAN_DAYS && series.now - last.day <= RECENT_DAYS;
    shown.then_some(Load { tests: row.len(), days })
}

/// Whether water that may hold chlorine went in after `day`. Where both are tested as zero after it, it did no harm.
fn poured_since(series: &Series, facts: &TankFacts, day: f64) -> bool {
    let source = Source::new(facts);
    series
        .of_kind(EventKind::WaterChange)
        .any(|change| change.day > day && source.likely_poisons(&change.deed))
}

/// The day of the last deed that sets the count back: more animals, ammonia by mistake, or what may kill bacteria.
fn disturbed(series: &Series, facts: &TankFacts) -> f64 {
    let source = Source::new(facts);
    let sets_back = |deed: &Deed| match deed.kind {
        EventKind::FishAdded => deed.amount.unwrap_or(1.0) > 0.0,
        EventKind::Medicine | EventKind::AmmoniaDose => true,
        EventKind::FilterCleaned => source.likely_poisons(deed),
        _ => false,
    };
    let last = series.deeds.iter().rev().find(|dated| sets_back(&dated.deed));
    last.map_or(f64::NEG_INFINITY, |dated| dated.day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::cycle::balance::Estimate;
    use crate::reading::{Measurement, Status};
    use crate::terms::Analyte;
    use chrono::{DateTime, Duration, FixedOffset};

    fn day(day: i64) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap() + Duration::days(day)
    }

    fn reading(analyte: Analyte, on: i64, value: f64) -> Measurement {
        Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: None,
            high: None,
            taken_at: day(on),
            flags: Vec::new(),
        }
    }

    /// Tests of both on the days given, at zero but for nitrite on `spoilt`; judged on `now`.
    fn load(tested: &[i64], spoilt: Option<i64>, deed: Option<(i64, EventKind)>, now: i64) -> Option<Load> {
        let both = |on: &i64| {
            let nitrite = if spoilt == Some(*on) { 0.5 } else { 0.0 };
            [reading(Analyte::Ammonia, *on, 0.0), reading(Analyte::Nitrite, *on, nitrite)]
        };
        let deeds = deed.map(|(on, kind)| Deed {
            kind,
            amount: None,
            at: day(on),
            note: String::new(),
            is_supposed: false,
        });
        let history = TankHistory {
            facts: TankFacts::default(),
            measurements: tested.iter().flat_map(both).collect(),
            deeds: deeds.into_iter().collect(),
        };
        carried(&Series::new(&history, day(now)), &history.facts, &balance(0.8, 0.2))
    }

    fn balance(value: f64, sd: f64) -> Balance {
        Balance { points: Vec::new(), found_as_nitrate: Some(Estimate { value, sd }), alkalinity_meq_l: None }
    }

    #[test]
    fn a_week_of_zeros_with_nitrate_made_shows_that_the_bacteria_keep_up() {
        assert_eq!(load(&[1, 3, 5, 7], None, None, 8), Some(Load { tests: 4, days: 6.0 }));
    }

    #[test]
    fn it_takes_a_week_four_tests_and_a_recent_one() {
        assert_eq!(load(&[1, 2, 3, 4], None, None, 5), None, "three days");
        assert_eq!(load(&[1, 4, 7], None, None, 8), None, "three tests");
        assert_eq!(load(&[1, 3, 5, 7], None, None, 15), None, "eight days ago");
        assert_eq!(load(&[1, 3, 12, 14, 16], None, None, 16), None, "a gap of nine days");
    }

    #[test]
    fn nitrite_more_animals_and_medicine_begin_the_count_anew() {
        assert_eq!(load(&[1, 3, 5, 7, 9], Some(3), None, 9), None);
        assert_eq!(load(&[1, 3, 5, 7, 9], Some(9), None, 9), None, "the last one");
        assert_eq!(load(&[1, 3, 5, 7, 9], None, Some((4, EventKind::FishAdded)), 9), None);
        assert_eq!(load(&[1, 3, 5, 7, 9], None, Some((4, EventKind::Medicine)), 9), None);
        assert_eq!(load(&[1, 3, 5, 7, 9], None, Some((9, EventKind::AmmoniaDose)), 9), None);
        assert!(load(&[1, 3, 5, 7, 9], None, Some((4, EventKind::WaterChange)), 9).is_some());
    }

    #[test]
    fn zeros_without_nitrate_may_be_the_work_of_plants() {
        let zeros = [1, 3, 5, 7].map(|on| reading(Analyte::Ammonia, on, 0.0));
        let nitrite = [1, 3, 5, 7].map(|on| reading(Analyte::Nitrite, on, 0.0));
        let measurements = zeros.into_iter().chain(nitrite).collect();
        let history = TankHistory { facts: TankFacts::default(), measurements, deeds: Vec::new() };
        let series = Series::new(&history, day(8));
        let carried = |balance: Balance| carried(&series, &history.facts, &balance);
        assert!(carried(balance(0.8, 0.2)).is_some());
        assert_eq!(carried(balance(0.3, 0.2)), None);
        assert_eq!(carried(Balance { found_as_nitrate: None, ..balance(0.8, 0.2) }), None);
    }
}
