//! The proof in the log: a dose of about 2 ppm ammonia, and what was left a day later.

use chrono::{DateTime, FixedOffset};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

use super::series::{DatedDeed, Level, Sample, Series};
use super::track::{Cloud, Particle, Track, track};
use crate::math::digits::percent;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};
use crate::terms::{EventKind, TankFacts};

/// Doses that make a proof, mg/L NH3 (common practice: about 2 ppm).
const DOSE: std::ops::RangeInclusive<f64> = 1.5..=2.5;
/// Hours after the dose in which the test decides (common practice: 24).
const WINDOW_H: std::ops::RangeInclusive<f64> = 20.0..=30.0;
/// First colour above zero on common charts, mg/L: below it a colour test hardly tells from zero.
const FIRST_COLOUR: f64 = 0.25;
/// Twice what a true zero reads at most, mg/L.
const TWICE_ZERO: f64 = 0.2;
/// Share of the removed ammonia that must have been oxidised, not taken up.
const OXIDISED: f64 = 0.7;
/// A part of the proof holds if it is more probable than this, and fails if less than one minus it.
const SURE: f64 = 0.85;
/// The same for nitrate, whose tests are too coarse to show more.
const SURE_OF_NITRATE: f64 = 0.7;
/// Days before an old proof that are followed to learn whether ammonia became nitrate.
const FOLLOWED_DAYS: f64 = 45.0;

/// How the proof in the log came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Ammonia and nitrite at zero, nitrate made.
    Passed,
    /// Something was left, or no nitrate was made.
    Failed,
    /// No such test in the log, or it cannot tell.
    NotShown,
}

impl Outcome {
    /// The word used in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Failed => "failed",
            Self::NotShown => "not_shown",
        }
    }
}

/// The test that decides, and what it shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// When ammonia was dosed.
    pub dosed_at: DateTime<FixedOffset>,
    /// How much, mg/L NH3.
    pub dose_mg_l: f64,
    /// When the water was tested.
    pub tested_at: DateTime<FixedOffset>,
    /// Hours between the two.
    pub hours: f64,
    /// Chance that ammonia was at zero as far as a colour test tells.
    pub ammonia_gone: f64,
    /// The same for nitrite.
    pub nitrite_gone: f64,
    /// Chance that the ammonia was oxidised, by every nitrate reading so far.
    pub nitrate_made: f64,
    /// How it came out.
    pub outcome: Outcome,
    /// Whether both readings are as good as zero, so that no small remainder hides behind them.
    pub beyond_doubt: bool,
    /// What was read, in words.
    pub evidence: Vec<String>,
}

impl Proof {
    /// Chance that all three parts hold.
    pub fn probability(&self) -> f64 {
        self.ammonia_gone * self.nitrite_gone * self.nitrate_made
    }
}

/// The latest proof in `series`; `track` holds the courses after each of the recent tests.
pub fn latest_proof(series: &Series, facts: &TankFacts, track: &Track) -> Option<Proof> {
    let doses = series.of_kind(EventKind::AmmoniaDose).rev();
    doses.filter(|dose| DOSE.contains(&dose.amount())).find_map(|dose| {
        let sample = deciding_test(series, dose)?;
        let before = before(series, dose);
        match track.after_day(sample.day) {
            Some(after) => judge(dose, sample, after, before),
            None => judge(dose, sample, &courses_then(series, facts, sample), before),
        }
    })
}

/// The courses after a test that lies too far back to be followed by default.
fn courses_then(series: &Series, facts: &TankFacts, sample: &Sample) -> Cloud {
    track(&series.between(sample.day - FOLLOWED_DAYS, sample.day), facts).now
}

/// The test nearest to 24 hours after `dose`, if nothing disturbed the water in between.
fn deciding_test<'a>(series: &'a Series, dose: &DatedDeed) -> Option<&'a Sample> {
    let hours = |sample: &Sample| (sample.day - dose.day) * 24.0;
    let from = series.samples.partition_point(|sample| hours(sample) < *WINDOW_H.start());
    let sample = series.samples[from..]
        .iter()
        .take_while(|sample| hours(sample) <= *WINDOW_H.end())
        .filter(|sample| sample.ammonia.is_some() && sample.nitrite.is_some())
        .min_by(|a, b| (hours(a) - 24.0).abs().total_cmp(&(hours(b) - 24.0).abs()))?;
    let since = series.deeds.partition_point(|deed| deed.day <= dose.day);
    let disturbed = series.deeds[since..]
        .iter()
        .take_while(|deed| deed.day < sample.day)
        .any(|deed| !matches!(deed.deed.kind, EventKind::AlkalinityDose | EventKind::Medicine));
    (!disturbed).then_some(sample)
}

/// The last nitrate reading before the dose, within three days.
fn before(series: &Series, dose: &DatedDeed) -> Option<Level> {
    let until = series.samples.partition_point(|sample| sample.day <= dose.day);
    let near = series.samples[..until].iter().rev().take_while(|sample| dose.day - sample.day < 3.0);
    near.filter_map(|sample| sample.nitrate).next()
}

fn judge(dose: &DatedDeed, sample: &Sample, after: &Cloud, nitrate_before: Option<Level>) -> Option<Proof> {
    let (ammonia, nitrite) = (sample.ammonia?, sample.nitrite?);
    let ammonia_gone = chance_below(&ammonia, FIRST_COLOUR / NH3_PER_N);
    let nitrite_gone = chance_below(&nitrite, FIRST_COLOUR / NO2_PER_N);
    let nitrate_made = after.probability(|particle| oxidised_share(particle) >= OXIDISED);
    Some(Proof {
        dosed_at: dose.deed.at,
        dose_mg_l: dose.amount(),
        tested_at: sample.at,
        hours: (sample.day - dose.day) * 24.0,
        ammonia_gone,
        nitrite_gone,
        nitrate_made,
        outcome: outcome(ammonia_gone, nitrite_gone, nitrate_made),
        beyond_doubt: as_good_as_zero(&ammonia, NH3_PER_N) && as_good_as_zero(&nitrite, NO2_PER_N),
        evidence: evidence(dose, sample, nitrate_before, nitrate_made),
    })
}

fn outcome(ammonia_gone: f64, nitrite_gone: f64, nitrate_made: f64) -> Outcome {
    let both_gone = ammonia_gone.min(nitrite_gone);
    if both_gone < 1.0 - SURE || (both_gone > SURE && nitrate_made < 1.0 - SURE) {
        Outcome::Failed
    } else if ammonia_gone * nitrite_gone > SURE && nitrate_made > SURE_OF_NITRATE {
        Outcome::Passed
    } else {
        Outcome::NotShown
    }
}

/// Whether neither ammonia nor nitrite can be told from zero, as surely as a proof asks.
pub fn clearly_gone(ammonia: &Level, nitrite: &Level) -> bool {
    chance_below(ammonia, FIRST_COLOUR / NH3_PER_N) * chance_below(nitrite, FIRST_COLOUR / NO2_PER_N) > SURE
}

/// Whether zero lies within the interval of `level` and all of it below [`TWICE_ZERO`].
fn as_good_as_zero(level: &Level, factor: f64) -> bool {
    level.reaches_zero && level.upper() * factor < TWICE_ZERO
}

/// Share of the ammonia removed that goes to nitrite rather than into a bloom or plants.
fn oxidised_share(particle: &Particle) -> f64 {
    let oxidised = particle.ammonia_rate / (particle.ammonia_half + 0.5);
    let taken = (particle.bloom + particle.planted) / 0.6;
    oxidised / (oxidised + taken)
}

/// Chance that the truth behind `level` lies below `limit`, both mg/L as N.
fn chance_below(level: &Level, limit: f64) -> f64 {
    if level.above && level.value >= limit {
        return 0.0;
    }
    let Ok(truth) = Normal::new(level.value, level.sd) else { return 0.0 };
    let below_zero = truth.cdf(0.0);
    (truth.cdf(limit) - below_zero) / (1.0 - below_zero)
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn evidence(dose: &DatedDeed, sample: &Sample, before: Option<Level>, nitrate_made: f64) -> Vec<String> {
    let hours = (sample.day - dose.day) * 24.0;
    let show = |level: Option<Level>, factor: f64, digits: usize| match level {
        Some(level) if level.above => format!("{:.digits$} mg/L or more", level.value * factor),
        Some(level) => {
            format!("{:.digits$} ± {:.digits$} mg/L", level.value * factor, 1.96 * level.sd * factor)
        }
        None => "not tested".to_owned(),
    };
    let mut lines = vec![
        format!(
            "{} mg/L ammonia dosed on {}",
            hundredths(dose.amount()),
            dose.deed.at.format("%Y-%m-%d %H:%M")
        ) + if dose.deed.is_supposed { ", as the readings suggest: it is not in the log" } else { "" },
        format!("{hours:.0} h later ammonia {}", show(sample.ammonia, NH3_PER_N, 2)),
        format!("{hours:.0} h later nitrite {}", show(sample.nitrite, NO2_PER_N, 2)),
        format!(
            "nitrate {} before, {} after; the dose makes {:.0} mg/L",
            show(before, NO3_PER_N, 0),
            show(sample.nitrate, NO3_PER_N, 0),
            dose.amount() / NH3_PER_N * NO3_PER_N
        ),
    ];
    lines.push(format!(
        "by all nitrate readings so far the ammonia was oxidised with {} probability",
        percent(nitrate_made)
    ));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::cycle::history::Deed;
    use crate::reading::{Measurement, Status};
    use crate::terms::Analyte;
    use approx::assert_relative_eq;

    #[test]
    fn zero_is_a_probability_and_not_a_bare_number() {
        let level = |value: f64, sd: f64| Level { value, sd, above: false, reaches_zero: false };
        assert!(chance_below(&level(0.05, 0.04), 0.2) > 0.99);
        assert_relative_eq!(chance_below(&level(0.2, 0.01), 0.2), 0.5, epsilon = 1e-6);
        assert!(chance_below(&level(0.6, 0.1), 0.2) < 0.01);
        assert_relative_eq!(chance_below(&Level { above: true, ..level(1.0, 0.1) }, 0.2), 0.0);
    }

    #[test]
    fn all_three_parts_are_needed() {
        assert_eq!(outcome(0.99, 0.99, 0.99), Outcome::Passed);
        assert_eq!(outcome(0.99, 0.05, 0.99), Outcome::Failed);
        assert_eq!(outcome(0.99, 0.99, 0.02), Outcome::Failed);
        assert_eq!(outcome(0.99, 0.6, 0.99), Outcome::NotShown);
        assert_eq!(outcome(0.99, 0.99, 0.5), Outcome::NotShown);
    }

    /// The proof that a dose and readings of zero a day later make, if other things were done in between.
    fn proof_of(dose_mg_l: f64, hours: i64, others: &[(EventKind, i64)]) -> Option<Proof> {
        proof_read(dose_mg_l, hours, others, [0.0; 2])
    }

    /// The same with ammonia and nitrite read as so much, mg/L NH3 and NO2, each within 0.1.
    fn proof_read(dose_mg_l: f64, hours: i64, others: &[(EventKind, i64)], read: [f64; 2]) -> Option<Proof> {
        let dosed_at = DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap();
        let after = |hours: i64| dosed_at + chrono::TimeDelta::hours(hours);
        let deed = |kind, amount, at| Deed { kind, amount, at, note: String::new(), is_supposed: false };
        let dose = deed(EventKind::AmmoniaDose, Some(dose_mg_l), dosed_at);
        let others = others.iter().map(|&(kind, hours)| deed(kind, Some(30.0), after(hours)));
        let reading = |(analyte, value): (Analyte, f64)| Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: Some((value - 0.1).max(0.0)),
            high: Some(value + 0.1),
            taken_at: after(hours),
            flags: Vec::new(),
        };
        let history = TankHistory {
            facts: TankFacts::default(),
            measurements: [(Analyte::Ammonia, read[0]), (Analyte::Nitrite, read[1])].map(reading).to_vec(),
            deeds: [dose].into_iter().chain(others).collect(),
        };
        let series = Series::new(&history, after(hours + 1));
        latest_proof(&series, &history.facts, &track(&series, &history.facts))
    }

    /// A dose of about 2 ppm and a test about a day later (common practice).
    #[test]
    fn small_doses_and_tests_long_after_prove_nothing() {
        assert!(proof_of(2.0, 24, &[]).is_some());
        assert!(proof_of(0.8, 24, &[]).is_none() && proof_of(1.2, 24, &[]).is_none());
        assert!(proof_of(2.0, 48, &[]).is_none() && proof_of(2.0, 12, &[]).is_none());
    }

    #[test]
    fn water_changed_or_more_ammonia_given_in_between_proves_nothing() {
        assert!(proof_of(2.0, 24, &[(EventKind::WaterChange, 6)]).is_none());
        assert!(proof_of(2.0, 24, &[(EventKind::WaterChange, -6)]).is_some());
        assert!(proof_of(2.0, 24, &[(EventKind::FilterCleaned, 20)]).is_none());
    }

    /// Nitrite is counted as NO2: 0.4 mg/L of it are 0.12 as nitrogen, which would be little ammonia.
    #[test]
    fn nitrite_that_shows_is_not_gone_though_it_is_little_as_nitrogen() {
        let gone = |read| {
            let proof = proof_read(2.0, 24, &[], read).unwrap();
            [proof.ammonia_gone, proof.nitrite_gone]
        };
        assert!(gone([0.0, 0.4])[1] < 0.05 && gone([0.4, 0.0])[0] < 0.05);
        assert!(gone([0.0, 0.0]).iter().all(|chance| *chance > 0.95));
    }
}
