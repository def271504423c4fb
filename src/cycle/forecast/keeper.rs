//! What the keeper does as a habit, read off the log and carried on into the forecast.

use super::timeline::Timeline;
use crate::terms::{Analyte, EventKind, TankFacts};

/// Ammonia below which keepers dose again, mg/L NH3, until the log tells otherwise (common
/// practice, no source).
const USUAL_THRESHOLD: f64 = 0.5;
/// A dose within so many days after a reading is taken as the answer to it.
const ANSWER: f64 = 0.3;
/// So many unanswered low readings in a row mean that the keeper doses no more.
const GIVEN_UP: usize = 3;

/// How ammonia is replenished.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Redosing {
    /// Not any more, or not at all.
    None,
    /// At a test that shows less than `below`, up to `up_to`; both mg/L NH3.
    WhenLow {
        /// Dose below this.
        below: f64,
        /// Dose up to this.
        up_to: f64,
    },
    /// At every test, whatever it shows.
    Always {
        /// Raise, mg/L NH3.
        amount: f64,
    },
}

/// Water changes that answer a low pH.
///
/// Neither the keeper's limit nor whether it is heeded is known for sure. The limit may lie anywhere
/// between `limits`; the share of low readings that are answered has the beta distribution that follows
/// from those seen, a keeper who tests pH being taken to heed it in three cases of four at first. Nor is pH
/// tested every time: taken so, tanks out of alkalinity were foreseen to pass days too early.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcidChange {
    /// pH between which the keeper's limit lies.
    pub limits: (f64, f64),
    /// Fraction of the volume.
    pub fraction: f64,
    /// Share of tests at which pH is tested too.
    pub looked_at: f64,
    /// Low readings that were answered.
    pub answered: usize,
    /// Low readings that were not.
    pub ignored: usize,
}

/// A keeper's habits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Keeper {
    /// Days between tests.
    pub test_every: f64,
    /// Day of the last test.
    pub last_test: f64,
    /// How ammonia is replenished.
    pub redosing: Redosing,
    /// Share of tests that are followed by a water change, and its fraction of the volume.
    pub water_change: (f64, f64),
    /// Relative scatter of the gaps between tests.
    pub test_scatter: f64,
    /// The answer to low pH; none if pH is not tested.
    pub acid_change: Option<AcidChange>,
    /// Days between feedings and grams each time.
    pub food: Option<(f64, f64)>,
}

impl Keeper {
    /// Reads the habits off the log; with `fish` in, ammonia is dosed no more.
    pub fn of(timeline: &Timeline, facts: &TankFacts, fish: f64) -> Self {
        let tests = test_days(timeline);
        let test_every = typical_gap(&tests).unwrap_or(2.0).clamp(0.5, 7.0);
        Self {
            test_every,
            test_scatter: scatter(&tests),
            last_test: tests.last().copied().unwrap_or(timeline.now),
            redosing: if fish > 0.0 { Redosing::None } else { redosing(timeline, facts) },
            water_change: water_changes(timeline, &tests),
            acid_change: acid_change(timeline, &tests),
            food: feeding(timeline),
        }
    }
}

/// Days on which something was tested.
fn test_days(timeline: &Timeline) -> Vec<f64> {
    let mut days: Vec<f64> = [Analyte::Ammonia, Analyte::Nitrite]
        .into_iter()
        .flat_map(|a| timeline.readings(a))
        .map(|r| r.0)
        .collect();
    days.sort_by(f64::total_cmp);
    days.dedup_by(|later, earlier| *later - *earlier < 0.02);
    days
}

/// Median of the last ten gaps.
fn typical_gap(days: &[f64]) -> Option<f64> {
    let recent = &days[days.len().saturating_sub(11)..];
    median(recent.windows(2).map(|pair| pair[1] - pair[0]).collect())
}

/// Middle value.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// How ammonia is replenished.
fn redosing(timeline: &Timeline, facts: &TankFacts) -> Redosing {
    let doses: Vec<(f64, f64)> = timeline.deeds(EventKind::AmmoniaDose).collect();
    let tests: Vec<(f64, f64)> = timeline.readings(Analyte::Ammonia).collect();
    let Some(&(last_dose, _)) = doses.last() else {
        return first_dose_due(timeline, facts);
    };
    let answer = |at: f64| doses.iter().find(|(day, _)| (at..at + ANSWER).contains(day));
    let answered: Vec<(f64, f64)> =
        tests.iter().filter_map(|&(at, level)| answer(at).map(|&(_, raise)| (level, raise))).collect();
    let high = answered.iter().filter(|(level, _)| *level > 2.0).count();
    let recent = &answered[answered.len().saturating_sub(5)..];
    if high >= 2 && 2 * high > answered.len() {
        let amount = median(recent.iter().map(|(_, raise)| *raise).collect()).unwrap_or(2.0);
        return Redosing::Always { amount };
    }
    let below = answered.iter().map(|(level, _)| *level).filter(|level| *level <= 2.0).fold(0.0, f64::max);
    let below = if answered.len() >= 3 { below.clamp(0.25, 1.5) } else { USUAL_THRESHOLD };
    let ignored = tests.iter().filter(|(at, level)| *at > last_dose && *level < below).count();
    if ignored >= GIVEN_UP && timeline.now - last_dose > 5.0 {
        return Redosing::None;
    }
    let targets = recent.iter().map(|(level, raise)| level + raise).collect();
    let up_to = median(targets).or_else(|| median(doses.iter().map(|dose| dose.1).collect())).unwrap_or(2.0);
    Redosing::WhenLow { below, up_to: up_to.clamp(0.5, 12.0) }
}

/// Before any dose: a young tank will get one if its keeper means to dose at all.
fn first_dose_due(timeline: &Timeline, facts: &TankFacts) -> Redosing {
    let doses = matches!(facts.ammonia_source.as_deref(), Some("ammonium chloride" | "ammonia solution"));
    if doses && timeline.now < 4.0 {
        Redosing::WhenLow { below: USUAL_THRESHOLD, up_to: 2.0 }
    } else {
        Redosing::None
    }
}

/// Share of recent tests that are followed by a water change, and the usual fraction.
fn water_changes(timeline: &Timeline, tests: &[f64]) -> (f64, f64) {
    let since = timeline.now - 21.0;
    let recent: Vec<f64> = timeline
        .deeds(EventKind::WaterChange)
        .filter(|(day, _)| *day >= since)
        .map(|(_, percent)| percent / 100.0)
        .collect();
    let chances = tests.iter().filter(|day| **day >= since).count().max(1);
    let share = (recent.len() as f64 / chances as f64).min(1.0);
    (share, median(recent).unwrap_or(0.0))
}

/// What the log shows of answers to a low pH; keepers call for one between 6.3 and 7 (common practice).
fn acid_change(timeline: &Timeline, tests: &[f64]) -> Option<AcidChange> {
    const LIMITS: (f64, f64) = (6.3, 7.0);
    /// Nobody waits for less on purpose.
    const LOW: f64 = 6.5;
    let readings: Vec<(f64, f64)> = timeline.readings(Analyte::Ph).collect();
    readings.first()?;
    let answers: Vec<f64> = [EventKind::WaterChange, EventKind::AlkalinityDose]
        .into_iter()
        .flat_map(|kind| timeline.deeds(kind))
        .map(|deed| deed.0)
        .collect();
    let is_answered = |at: f64| answers.iter().any(|day| (at..at + ANSWER).contains(day));
    let low =
        |wanted: bool| readings.iter().filter(|(at, ph)| *ph < LOW && is_answered(*at) == wanted).count();
    let ignored = readings.iter().filter(|(at, _)| !is_answered(*at));
    let lowest_ignored = ignored.map(|(_, ph)| *ph).fold(LIMITS.1, f64::min);
    let changes: Vec<f64> = timeline.deeds(EventKind::WaterChange).map(|change| change.1 / 100.0).collect();
    Some(AcidChange {
        limits: (LIMITS.0, lowest_ignored.max(LOW)),
        fraction: median(changes).unwrap_or(0.4),
        looked_at: share_of(readings.len(), tests.len()),
        answered: low(true),
        ignored: low(false),
    })
}

/// Chance that what happened at `seen` of `all` occasions happens at the next one (Laplace's rule of succession).
fn share_of(seen: usize, all: usize) -> f64 {
    (seen as f64 + 1.0) / (all.max(seen) as f64 + 2.0)
}

/// Relative scatter of the recent gaps between tests.
fn scatter(days: &[f64]) -> f64 {
    let recent = &days[days.len().saturating_sub(11)..];
    let logs: Vec<f64> = recent.windows(2).map(|pair| (pair[1] - pair[0]).max(0.05).ln()).collect();
    let count = logs.len() as f64;
    if count < 3.0 {
        return 0.3;
    }
    let mean = logs.iter().sum::<f64>() / count;
    (logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt().clamp(0.05, 0.6)
}

/// Days between feedings and grams, unless feeding has stopped.
fn feeding(timeline: &Timeline) -> Option<(f64, f64)> {
    let meals: Vec<(f64, f64)> = timeline.deeds(EventKind::Food).collect();
    let days: Vec<f64> = meals.iter().map(|meal| meal.0).collect();
    let gap = typical_gap(&days)?.max(0.5);
    let &(last, _) = meals.last()?;
    let grams = median(meals.iter().map(|meal| meal.1).collect())?;
    (timeline.now - last < 3.0 * gap + 3.0).then_some((gap, grams))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::reading::{Measurement, Status};
    use chrono::{DateTime, Duration};

    #[test]
    fn a_low_ph_is_only_seen_when_it_is_tested() {
        let start = DateTime::parse_from_rfc3339("2031-03-01T09:00:00+00:00").unwrap();
        let test = |day: i64, analyte, value| Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: Some(0.9 * value),
            high: Some(1.1 * value),
            taken_at: start + Duration::days(day),
            flags: Vec::new(),
        };
        let mut measurements: Vec<Measurement> =
            (0..14).map(|day| test(day, Analyte::Ammonia, 1.0)).collect();
        measurements.extend([0, 5, 10].map(|day| test(day, Analyte::Ph, 7.4)));
        let history = TankHistory { facts: TankFacts::default(), measurements, deeds: Vec::new() };
        let timeline = Timeline::new(&history, start + Duration::days(14));
        let keeper = Keeper::of(&timeline, &history.facts, 0.0);
        // Laplace: (3 + 1) / (14 + 2).
        assert_eq!(keeper.acid_change.map(|change| change.looked_at), Some(0.25));
    }
}
