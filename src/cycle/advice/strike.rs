//! What may soon harm the animals of a tank, dead bacteria or many new fish: watched before it does.

use chrono::{DateTime, Duration, FixedOffset};

use super::{Advice, CHANGE_CAUTION};
use crate::cycle::series::Series;
use crate::cycle::strike::{Strike, WATCHED_DAYS};
use crate::terms::EventKind;

/// To test daily, where something done within a week may have killed bacteria that animals need, or brought more
/// animals than they are used to.
pub fn struck(strike: Option<Strike>, series: &Series) -> Option<Advice> {
    let (at, why) = strike.map(dead_bacteria).or_else(|| crowd(series))?;
    let until = at + Duration::days(WATCHED_DAYS as i64);
    let action = "test ammonia and nitrite, and change water as soon as either shows";
    Some(Advice::new(action, format!("daily until {}", until.format("%-d %B")), why).beware(CHANGE_CAUTION))
}

fn dead_bacteria(strike: Strike) -> (DateTime<FixedOffset>, String) {
    let why = format!(
        "{} ({}): what dead bacteria leave stands in the water within a day or two and harms the animals (common practice)",
        strike.what,
        strike.at.format("%-d %B")
    );
    (strike.at, why)
}

/// The latest deed within a week that more than doubled the fish, and why it is watched (common practice, no source).
fn crowd(series: &Series) -> Option<(DateTime<FixedOffset>, String)> {
    let mut fish = 0.0;
    let mut found = None;
    for dated in series.of_kind(EventKind::FishAdded) {
        let added = dated.deed.amount.unwrap_or(1.0);
        if fish > 0.0 && added > fish && series.now - dated.day < WATCHED_DAYS {
            let at = dated.deed.at;
            let why = format!(
                "{added:.0} fish were added to {fish:.0} ({}): what they give off more than doubles at once, and the bacteria grow into it over weeks; feed sparingly until then (common practice)",
                at.format("%-d %B")
            );
            found = Some((at, why));
        }
        fish = f64::max(fish + added, 0.0);
    }
    found
}
