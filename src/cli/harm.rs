//! Harm to animals that new readings show, told at once: who only logs them must not miss it.

use chrono::{DateTime, FixedOffset, TimeDelta};

use crate::cycle::animals::Animals;
use crate::cycle::danger::{Severity, any_harms};
use crate::cycle::{Assessment, TankHistory, assess};
use crate::report::verdict;

/// A reading older than this is no news of today.
pub const NEWS: TimeDelta = TimeDelta::days(2);

/// What harms the animals, and what helps first; nothing where no animals are known to be harmed.
pub fn told(assessment: &Assessment) -> Vec<String> {
    if assessment.animals != Animals::Present || !any_harms(&assessment.dangers) {
        return Vec::new();
    }
    let harms = assessment.dangers.iter().filter(|danger| danger.severity >= Severity::Harmful);
    let first = assessment.advice.first().map(|first| format!("today: {}: {}", first.action, first.amount));
    harms.filter_map(verdict::danger).chain(first).collect()
}

/// The same of a tank with a reading of `taken_at`, if that is news and animals live there.
pub fn shown_by(
    history: &TankHistory,
    taken_at: DateTime<FixedOffset>,
    now: DateTime<FixedOffset>,
) -> Vec<String> {
    if now - taken_at > NEWS || Animals::at(history, now) != Animals::Present {
        return Vec::new();
    }
    told(&assess(history, now))
}
