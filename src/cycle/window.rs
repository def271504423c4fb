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
        let mut carried_over = None;
        if !older.is_empty() {
            recent.facts.started_at = [recent.facts.started_at, first].into_iter().flatten().min();
            carried_over = fish_in(&older.deeds, opens);
            recent.deeds.splice(0..0, carried_over.clone());
        }
        thin(&mut recent);
        Self { older, recent, carried_over }
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
