//! What of a long history is looked at closely.
//!
//! Colonies double or halve within days and water is changed within weeks: what was read long ago says
//! nothing of today that the readings since do not say better. Everything that follows many possible
//! courses gets the recent part alone, so that its work is bounded however long the log.

use chrono::{DateTime, Duration, FixedOffset};

use super::history::{Deed, TankHistory};
use crate::terms::{Analyte, EventKind};

/// Days that are looked at closely.
const DAYS: i64 = 100;
/// Readings of one analyte that are looked at one by one; of more, one in each half day.
const READINGS: usize = 240;
/// Half a day, seconds.
const HALF_DAY: i64 = 43_200;
/// Deeds that are looked at; more open the window later.
const DEEDS: usize = 800;

/// A history in two parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// What is older than the window; empty for most tanks.
    pub older: TankHistory,
    /// What is looked at closely. Fish put in earlier stand at its beginning.
    pub recent: TankHistory,
    /// When the window opens, if anything is older.
    pub opened: Option<DateTime<FixedOffset>>,
    /// The deed that stands for them there, and is none of the log's.
    carried_over: Option<Deed>,
}

impl Parts {
    /// Parts `history` as known at `now`; a history that fits the window is its own recent part.
    pub fn of(history: &TankHistory, now: DateTime<FixedOffset>) -> Self {
        let mut older = history.known_at(now).into_owned();
        let first = [older.measurements.first().map(|m| m.taken_at), older.deeds.first().map(|d| d.at)];
        let first = first.into_iter().flatten().min();
        let opens = opening(&older, now);
        let read_before = older.measurements.partition_point(|measurement| measurement.taken_at < opens);
        let done_before = older.deeds.partition_point(|deed| deed.at < opens);
        let mut recent = TankHistory {
            facts: older.facts.clone(),
            measurements: older.measurements.split_off(read_before),
            deeds: older.deeds.split_off(done_before),
        };
        let (mut carried_over, mut opened) = (None, None);
        if !older.is_empty() {
            opened = Some(opens);
            recent.facts.started_at = [recent.facts.started_at, first].into_iter().flatten().min();
            carried_over = fish_in(&older.deeds, opens);
            recent.deeds.splice(0..0, carried_over.clone());
        }
        thin(&mut recent);
        Self { older, recent, opened, carried_over }
    }

    /// Both parts as one history, the recent one as it stands in `mended`.
    pub fn joined(mut self, mended: &TankHistory) -> TankHistory {
        let is_logged = |deed: &&Deed| Some(*deed) != self.carried_over.as_ref();
        self.older.measurements.extend(mended.measurements.iter().cloned());
        self.older.deeds.extend(mended.deeds.iter().filter(is_logged).cloned());
        self.older
    }
}

/// Where the window opens: with a test of nitrogen, which says how the water stood.
fn opening(history: &TankHistory, now: DateTime<FixedOffset>) -> DateTime<FixedOffset> {
    let mut opens = now - Duration::days(DAYS);
    if let Some(last) = history.deeds.len().checked_sub(DEEDS) {
        opens = opens.max(history.deeds[last].at);
    }
    let nothing_before = history.measurements.first().is_none_or(|first| first.taken_at >= opens)
        && history.deeds.first().is_none_or(|first| first.at >= opens);
    if nothing_before {
        return opens;
    }
    let nitrogen = |analyte| matches!(analyte, Analyte::Ammonia | Analyte::Nitrite | Analyte::Nitrate);
    let from = history.measurements.partition_point(|measurement| measurement.taken_at < opens);
    let first = history.measurements[from..].iter().find(|measurement| nitrogen(measurement.analyte));
    first.map_or(opens, |first| first.taken_at)
}

/// One deed for all fish put in earlier.
fn fish_in(older: &[Deed], at: DateTime<FixedOffset>) -> Option<Deed> {
    let kind = EventKind::FishAdded;
    let count: f64 =
        older.iter().filter(|deed| deed.kind == kind).map(|deed| deed.amount.unwrap_or(1.0)).sum();
    (count > 0.0).then(|| Deed {
        kind,
        amount: Some(count),
        at,
        note: "before the window".to_owned(),
        is_supposed: false,
    })
}

/// Of an analyte that is read very often, keeps the last reading of each half day.
fn thin(history: &mut TankHistory) {
    for analyte in Analyte::ALL {
        let of = |measurement: &crate::reading::Measurement| measurement.analyte == analyte;
        if history.measurements.iter().filter(|measurement| of(measurement)).count() <= READINGS {
            continue;
        }
        let mut kept = None;
        let mut last_of_its_half_day = |at: DateTime<FixedOffset>| {
            let half_day = at.timestamp().div_euclid(HALF_DAY);
            let differs = kept != Some(half_day);
            kept = Some(half_day);
            differs
        };
        history.measurements.reverse();
        history.measurements.retain(|reading| !of(reading) || last_of_its_half_day(reading.taken_at));
        history.measurements.reverse();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Measurement, Status};
    use crate::terms::TankFacts;

    fn now() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2031-06-01T10:00:00+02:00").unwrap()
    }

    fn ago(days: f64) -> DateTime<FixedOffset> {
        now() - Duration::seconds((86_400.0 * days) as i64)
    }

    fn reading(analyte: Analyte, days: f64) -> Measurement {
        Measurement {
            analyte,
            status: Status::Read,
            value: Some(7.0),
            low: None,
            high: None,
            taken_at: ago(days),
            flags: Vec::new(),
        }
    }

    fn deed(kind: EventKind, amount: f64, days: f64) -> Deed {
        Deed { kind, amount: Some(amount), at: ago(days), note: String::new(), is_supposed: false }
    }

    fn history(measurements: Vec<Measurement>, deeds: Vec<Deed>) -> TankHistory {
        TankHistory { facts: TankFacts::default(), measurements, deeds }.until(now())
    }

    /// Two years, a test of three analytes every other day, water changed weekly, fish put in twice.
    fn two_years() -> TankHistory {
        let days = || (0..365).map(|index| 2.0 * f64::from(index));
        let tests = days().flat_map(|day| {
            [Analyte::Ph, Analyte::Nitrite, Analyte::Nitrate].map(|analyte| reading(analyte, day))
        });
        let mut deeds: Vec<Deed> =
            days().step_by(3).map(|day| deed(EventKind::WaterChange, 30.0, day)).collect();
        deeds.extend([deed(EventKind::FishAdded, 6.0, 500.0), deed(EventKind::FishAdded, 2.0, 300.0)]);
        history(tests.collect(), deeds)
    }

    #[test]
    fn a_history_that_fits_the_window_is_its_own_recent_part() {
        let fits = history(
            vec![reading(Analyte::Ph, 100.0), reading(Analyte::Nitrite, 3.0)],
            vec![deed(EventKind::FishAdded, 6.0, 99.9)],
        );
        let parts = Parts::of(&fits, now());
        assert_eq!((&parts.recent, parts.opened), (&fits, None));
        assert!(parts.older.is_empty());
        assert_eq!(parts.clone().joined(&parts.recent), fits);
    }

    #[test]
    fn what_is_older_than_a_hundred_days_goes_and_the_window_opens_with_a_test_of_nitrogen() {
        let parts = Parts::of(
            &history(
                [
                    (Analyte::Nitrite, 100.1),
                    (Analyte::Ph, 99.0),
                    (Analyte::Nitrite, 98.0),
                    (Analyte::Ph, 1.0),
                ]
                .map(|(analyte, days)| reading(analyte, days))
                .into(),
                vec![deed(EventKind::Food, 1.0, 98.5), deed(EventKind::Food, 1.0, 97.0)],
            ),
            now(),
        );
        assert_eq!(parts.opened, Some(ago(98.0)));
        assert_eq!((parts.older.measurements.len(), parts.older.deeds.len()), (2, 1));
        assert_eq!((parts.recent.measurements.len(), parts.recent.deeds.len()), (2, 1));
        assert_eq!(parts.recent.facts.started_at, Some(ago(100.1)), "how long it has run is still known");
    }

    #[test]
    fn fish_put_in_earlier_stand_at_the_windows_beginning_and_are_in_no_log() {
        let long = two_years();
        let parts = Parts::of(&long, now());
        let fish: Vec<&Deed> =
            parts.recent.deeds.iter().filter(|deed| deed.kind == EventKind::FishAdded).collect();
        assert_eq!(fish.len(), 1);
        assert_eq!((fish[0].amount, Some(fish[0].at)), (Some(8.0), parts.opened));
        assert_eq!(parts.clone().joined(&parts.recent), long, "both parts are the log again");
    }

    #[test]
    fn nothing_later_than_the_moment_is_in_either_part() {
        let parts = Parts::of(&two_years(), ago(200.0));
        let last = |history: &TankHistory| history.measurements.iter().map(|m| m.taken_at).max().unwrap();
        assert!(last(&parts.recent) <= ago(200.0) && last(&parts.older) < parts.opened.unwrap());
        assert!(parts.opened.unwrap() >= ago(300.0));
    }

    #[test]
    fn of_very_many_readings_the_last_of_each_half_day_stays() {
        let hourly: Vec<Measurement> =
            (0..60 * 24).map(|hour| reading(Analyte::Nitrite, f64::from(hour) / 24.0)).collect();
        let few = [reading(Analyte::Nitrate, 50.0), reading(Analyte::Nitrate, 50.1)];
        let parts = Parts::of(&history([&hourly[..], &few[..]].concat(), Vec::new()), now());
        let of = |analyte| parts.recent.measurements.iter().filter(move |m| m.analyte == analyte);
        assert_eq!(of(Analyte::Nitrate).count(), 2, "an analyte that is read seldom is kept whole");
        let half_days: Vec<i64> = of(Analyte::Nitrite).map(|m| m.taken_at.timestamp() / HALF_DAY).collect();
        assert!((120..=121).contains(&half_days.len()), "{}", half_days.len());
        assert!(half_days.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(of(Analyte::Nitrite).next_back().unwrap().taken_at, now());
    }

    #[test]
    fn of_very_many_deeds_the_last_open_the_window() {
        let deeds = (0..2000).map(|index| deed(EventKind::Food, 0.1, f64::from(index) / 40.0)).collect();
        let parts = Parts::of(&history(vec![reading(Analyte::Nitrite, 0.5)], deeds), now());
        assert!(parts.recent.deeds.len() <= DEEDS, "{}", parts.recent.deeds.len());
    }
}
