//! What may have killed the bacteria of a tank with animals: watched before it harms them.

use chrono::Duration;

use super::{Advice, CHANGE_CAUTION};
use crate::cycle::series::{DatedDeed, Series};
use crate::cycle::track::Source;
use crate::terms::{EventKind, TankFacts};

/// Days of tests after a deed that may have killed bacteria (common practice, no source).
const WATCHED_DAYS: f64 = 7.0;

/// To test daily, where something done within a week may have killed bacteria that animals need.
pub fn struck(series: &Series, facts: &TankFacts) -> Option<Advice> {
    let source = Source::new(facts);
    let recent = series.deeds.iter().rev().take_while(|dated| series.now - dated.day < WATCHED_DAYS);
    let (dated, what) = recent.filter_map(|dated| Some((dated, what(dated, &source)?))).next()?;
    let until = dated.deed.at + Duration::days(WATCHED_DAYS as i64);
    let why = format!(
        "{what} ({}): what dead bacteria leave stands in the water within a day or two and harms the animals (common practice)",
        dated.deed.at.format("%-d %B")
    );
    let action = "test ammonia and nitrite, and change water as soon as either shows";
    Some(Advice::new(action, format!("daily until {}", until.format("%-d %B")), why).beware(CHANGE_CAUTION))
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
