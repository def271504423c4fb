//! What was done within the last week that may have killed bacteria.

use chrono::{DateTime, FixedOffset};

use super::series::{DatedDeed, Series};
use super::track::Source;
use crate::terms::{EventKind, TankFacts};

/// Days of tests after a deed that may have killed bacteria (common practice, no source).
pub const WATCHED_DAYS: f64 = 7.0;

/// A deed that may have killed bacteria; how many live shows in the tests of the week after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Strike {
    /// When it was done.
    pub at: DateTime<FixedOffset>,
    /// What it may have done, in words.
    pub what: &'static str,
}

impl Strike {
    /// The latest one within a week.
    pub fn of(series: &Series, facts: &TankFacts) -> Option<Self> {
        let source = Source::new(facts);
        let recent = series.deeds.iter().rev().take_while(|dated| series.now - dated.day < WATCHED_DAYS);
        recent.filter_map(|dated| Some(Self { at: dated.deed.at, what: what(dated, &source)? })).next()
    }
}

/// What a deed may have done to the bacteria.
fn what(dated: &DatedDeed, source: &Source) -> Option<&'static str> {
    let likely = source.likely_poisons(&dated.deed);
    match dated.deed.kind {
        EventKind::FilterCleaned if likely => Some(
            "the filter was cleaned, and chlorine of tap water kills the bacteria in it: rinse it only in water taken from the tank",
        ),
        EventKind::FilterCleaned => Some(
            "the filter was cleaned, which takes bacteria from it, and more of them if tap water with chlorine touched it",
        ),
        EventKind::WaterChange if likely => Some(
            "water was changed that may hold chlorine, which kills the bacteria and burns the gills: treat all tap water before it touches the tank",
        ),
        EventKind::Medicine => Some("medicine was given, and many kinds kill the bacteria"),
        _ => None,
    }
}
