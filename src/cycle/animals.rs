//! Whether animals live in the tank, by log and facts.

use chrono::{DateTime, FixedOffset};

use super::history::TankHistory;
use super::series::Series;
use crate::terms::{EventKind, TankFacts};

/// Whether animals live in the tank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Animals {
    /// Fish were put in, and not all taken out, or the tank is said to be fed by fish.
    Present,
    /// Ammonia was dosed, or the tank is said to be fed without fish, or all fish were taken out.
    Absent,
    /// Nothing tells: nobody may be told to dose ammonia as if there were none.
    Unknown,
}

impl Animals {
    /// As known at `now`.
    pub fn at(history: &TankHistory, now: DateTime<FixedOffset>) -> Self {
        Self::of(&Series::new(history, now), &history.facts)
    }

    /// How many fish there are by the log at `now`; nothing if none ever came. Below zero, more left than came.
    pub fn count(history: &TankHistory, now: DateTime<FixedOffset>) -> Option<f64> {
        fish(&Series::new(history, now))
    }

    /// By the deeds in `series` and the tank's facts. What the log lacks and was supposed tells nothing.
    pub fn of(series: &Series, facts: &TankFacts) -> Self {
        let count = fish(series);
        let dosed = || series.of_kind(EventKind::AmmoniaDose).any(|dose| !dose.deed.is_supposed);
        match (count, facts.ammonia_source.as_deref()) {
            (Some(count), _) if count > 0.0 => Self::Present,
            (Some(_), _) => Self::Absent,
            (None, Some("fish")) => Self::Present,
            (None, Some(_)) => Self::Absent,
            (None, None) if dosed() => Self::Absent,
            (None, None) => Self::Unknown,
        }
    }
}

/// Fish put in less those that died or were moved out; nothing if none ever were.
fn fish(series: &Series) -> Option<f64> {
    let counts = series.of_kind(EventKind::FishAdded).map(|dated| dated.deed.amount.unwrap_or(1.0));
    counts.reduce(|total, count| total.max(0.0) + count)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::Deed;
    use chrono::Duration;

    fn animals(deeds: &[(EventKind, f64)], source: Option<&str>) -> Animals {
        let start = DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap();
        let deed = |(index, &(kind, amount)): (usize, &(EventKind, f64))| Deed {
            kind,
            amount: Some(amount),
            at: start + Duration::days(index as i64),
            note: String::new(),
            is_supposed: false,
        };
        let facts = TankFacts { ammonia_source: source.map(str::to_owned), ..TankFacts::default() };
        let deeds = deeds.iter().enumerate().map(deed).collect();
        let history = TankHistory { facts, measurements: Vec::new(), deeds };
        Animals::at(&history, start + Duration::days(20))
    }

    #[test]
    fn fish_put_in_are_there_until_all_are_taken_out() {
        let (fish, dose) = (EventKind::FishAdded, EventKind::AmmoniaDose);
        assert_eq!(animals(&[(dose, 2.0), (fish, 6.0)], None), Animals::Present);
        assert_eq!(animals(&[(fish, 6.0), (fish, -4.0)], Some("fish")), Animals::Present);
        assert_eq!(animals(&[(fish, 6.0), (fish, -6.0)], Some("fish")), Animals::Absent);
        assert_eq!(animals(&[(fish, 2.0), (fish, -6.0), (fish, 1.0)], None), Animals::Present);
    }

    #[test]
    fn without_fish_a_dose_or_the_source_tells_and_nothing_is_an_answer() {
        assert_eq!(animals(&[(EventKind::AmmoniaDose, 2.0)], None), Animals::Absent);
        assert_eq!(animals(&[], Some("ammonium chloride")), Animals::Absent);
        assert_eq!(animals(&[], Some("fish")), Animals::Present);
        assert_eq!(animals(&[(EventKind::Food, 0.2)], None), Animals::Unknown);
    }
}
