//! A tank's history as the cycle stages take it.

use std::borrow::Cow;

use chrono::{DateTime, FixedOffset};

use crate::reading::Measurement;
use crate::terms::{EventKind, TankFacts};

/// Something done to the tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Deed {
    /// What was done.
    pub kind: EventKind,
    /// How much, in the kind's unit.
    pub amount: Option<f64>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The keeper's own words.
    pub note: String,
    /// Whether the judgement supposes it, to mend a fault of the log.
    pub is_supposed: bool,
}

impl Deed {
    /// Whether its note says that tap water went in, or over the filter, as it came.
    pub fn is_by_untreated_water(&self) -> bool {
        let note = self.note.to_lowercase();
        note.contains("untreated") || (note.contains("tap") && !note.contains("treated"))
    }
}

/// Everything known of one tank up to the moment at which it is judged.
#[derive(Debug, Clone, PartialEq)]
pub struct TankHistory {
    /// What the keeper says of it.
    pub facts: TankFacts,
    /// Live readings, by time.
    pub measurements: Vec<Measurement>,
    /// Live events, by time.
    pub deeds: Vec<Deed>,
}

impl TankHistory {
    /// Whether nothing is known of the tank but what the keeper says.
    pub const fn is_empty(&self) -> bool {
        self.measurements.is_empty() && self.deeds.is_empty()
    }

    /// What was known at `now`, by time; borrowed where that is all there is, and in order.
    pub fn known_at(&self, now: DateTime<FixedOffset>) -> Cow<'_, Self> {
        let is_all = self.measurements.last().is_none_or(|last| last.taken_at <= now)
            && self.deeds.last().is_none_or(|last| last.at <= now);
        let in_order = self.measurements.is_sorted_by_key(|measurement| measurement.taken_at)
            && self.deeds.is_sorted_by_key(|deed| deed.at);
        if is_all && in_order { Cow::Borrowed(self) } else { Cow::Owned(self.clone().until(now)) }
    }

    /// Sorts both lists by time and drops whatever is later than `now`.
    pub fn until(mut self, now: DateTime<FixedOffset>) -> Self {
        self.measurements.retain(|measurement| measurement.taken_at <= now);
        self.deeds.retain(|deed| deed.at <= now);
        self.measurements.sort_by_key(|measurement| measurement.taken_at);
        self.deeds.sort_by_key(|deed| deed.at);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_tells_of_untreated_water() {
        let is_untreated = |note: &str| {
            let at = DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap();
            let note = note.to_owned();
            Deed { kind: EventKind::FilterCleaned, amount: None, at, note, is_supposed: false }
                .is_by_untreated_water()
        };
        assert!(is_untreated("straight from the tap") && is_untreated("Rinsed under the Tap"));
        assert!(is_untreated("untreated tap water"));
        assert!(!is_untreated("treated tap water") && !is_untreated("in tank water") && !is_untreated(""));
    }
}
