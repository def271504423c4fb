//! Rules of thumb for the day on which a tank is ready, as keepers use them (common practice, no source).
//!
//! Each rule's number is chosen on the very histories that it is measured on, which flatters it.

use std::fmt;

use chrono::{DateTime, FixedOffset};
use tintwell::cycle::TankHistory;
use tintwell::terms::Analyte;

use super::truth::Truth;

/// What the rules may look at, and what was true; days.
pub struct Case {
    /// True days from now to the proof, if it comes.
    pub days: Option<f64>,
    /// The true stage.
    pub stage: String,
    /// Days since the tank was filled.
    pub age: f64,
    /// Days since the highest nitrite, once nitrite has fallen below half of it.
    pub since_peak: Option<f64>,
    /// Days since ammonia first read below 0.25 mg/L after it had stood at 1 mg/L or more.
    pub since_ammonia_gone: Option<f64>,
}

impl Case {
    /// What `history` shows at `now`.
    pub fn new(truth: &Truth, history: &TankHistory, now: DateTime<FixedOffset>) -> Self {
        let ago = |at: DateTime<FixedOffset>| (now - at).num_minutes() as f64 / 1440.0;
        let of = |analyte: Analyte| -> Vec<(f64, f64)> {
            let readings = history.measurements.iter().filter(|reading| reading.analyte == analyte);
            readings
                .filter_map(|reading| Some((ago(reading.taken_at), reading.value.or(reading.low)?)))
                .collect()
        };
        let first = history.measurements.first().map_or(now, |reading| reading.taken_at);
        Self {
            days: truth.days_to_proof,
            stage: truth.stage.clone(),
            age: ago(history.facts.started_at.unwrap_or(first)),
            since_peak: since_peak(&of(Analyte::Nitrite)),
            since_ammonia_gone: since_gone(&of(Analyte::Ammonia)),
        }
    }
}

fn since_peak(nitrite: &[(f64, f64)]) -> Option<f64> {
    let &(ago, peak) = nitrite.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let &(_, last) = nitrite.last()?;
    (peak >= 1.0 && last < 0.5 * peak).then_some(ago)
}

fn since_gone(ammonia: &[(f64, f64)]) -> Option<f64> {
    let stood = ammonia.iter().position(|(_, level)| *level >= 1.0)?;
    ammonia[stood..].iter().find(|(_, level)| *level < 0.25).map(|(ago, _)| *ago)
}

/// A rule with its number.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// So many days after the start.
    AfterStart(f64),
    /// So many days after the nitrite peak; before it, so many after the start.
    AfterPeak(f64, f64),
    /// So many days after ammonia first went; before, so many after the start.
    AfterAmmonia(f64, f64),
    /// The median of the other tanks of the same stage, which the rule is told.
    ToldStage,
}

impl Rule {
    /// Days from now, by the rule; `all` are the tanks it may learn from.
    fn days(&self, case: &Case, all: &[&Case]) -> f64 {
        let from_start = |days: f64| (days - case.age).max(0.0);
        match self {
            Self::AfterStart(days) => from_start(*days),
            Self::AfterPeak(days, start) => {
                case.since_peak.map_or(from_start(*start), |since| (days - since).max(0.0))
            }
            Self::AfterAmmonia(days, start) => {
                case.since_ammonia_gone.map_or(from_start(*start), |since| (days - since).max(0.0))
            }
            Self::ToldStage => {
                let others =
                    all.iter().filter(|other| !std::ptr::eq(**other, case) && other.stage == case.stage);
                let days: Vec<f64> = others.filter_map(|other| other.days).collect();
                if days.is_empty() { from_start(35.0) } else { median(days) }
            }
        }
    }

    /// Median absolute error over `cases`.
    pub fn error(&self, cases: &[&Case]) -> f64 {
        median(cases.iter().filter_map(|case| Some((self.days(case, cases) - case.days?).abs())).collect())
    }
}

/// How a rule's numbers follow from the tanks it may learn from.
type Maker = fn(&[&Case]) -> Option<Rule>;

/// The rules: five weeks as they are told, and those with the whole number that suits `cases` best.
pub fn fitted(cases: &[&Case]) -> Vec<Rule> {
    MAKERS.iter().filter_map(|maker| maker(cases)).collect()
}

const MAKERS: [Maker; 5] = [
    |_| Some(Rule::AfterStart(35.0)),
    after_start,
    |cases| best(cases, |days| Rule::AfterPeak(days, start(cases))),
    |cases| best(cases, |days| Rule::AfterAmmonia(days, start(cases))),
    |_| Some(Rule::ToldStage),
];

fn after_start(cases: &[&Case]) -> Option<Rule> {
    best(cases, Rule::AfterStart)
}

/// The number of [`after_start`].
fn start(cases: &[&Case]) -> f64 {
    match after_start(cases) {
        Some(Rule::AfterStart(days)) => days,
        _ => 35.0,
    }
}

fn best(cases: &[&Case], rule: impl Fn(f64) -> Rule) -> Option<Rule> {
    let tried = (1..=70).map(|days| rule(f64::from(days)));
    tried.min_by(|a, b| a.error(cases).total_cmp(&b.error(cases)))
}

/// Median absolute error of each rule of [`fitted`], for each tank its numbers chosen on the others.
pub fn errors_left_out(cases: &[&Case]) -> Vec<f64> {
    MAKERS.iter().map(|maker| error_left_out(*maker, cases)).collect()
}

fn error_left_out(maker: Maker, cases: &[&Case]) -> f64 {
    let error = |case: &&Case| {
        let others: Vec<&Case> = cases.iter().copied().filter(|other| !std::ptr::eq(*other, *case)).collect();
        Some((maker(&others)?.days(case, &others) - case.days?).abs())
    };
    median(cases.iter().filter_map(error).collect())
}

/// The middle value.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AfterStart(days) => write!(f, "{days} days after the start"),
            Self::AfterPeak(days, start) => {
                write!(f, "{days} days after the nitrite peak, before it {start} after the start")
            }
            Self::AfterAmmonia(days, start) => {
                write!(f, "{days} days after ammonia first went, before it {start} after the start")
            }
            Self::ToldStage => write!(f, "median of the other tanks of the true stage"),
        }
    }
}
