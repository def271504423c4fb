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
        let note = self.note.to_lowercase().replace(['\'', '’'], "");
        let clauses: Vec<Vec<&str>> = note.split([',', ';', '.', '(', ')']).map(words).collect();
        let says = |told: fn(&[&str], usize) -> bool| {
            clauses.iter().any(|clause| (0..clause.len()).any(|at| told(clause, at)))
        };
        says(says_untreated) || (says(names_tap) && !says(says_treated))
    }
}

/// Words that take back what stands shortly before or behind them.
const NEGATIONS: [&str; 16] = [
    "not",
    "no",
    "non",
    "never",
    "without",
    "none",
    "forgot",
    "forgotten",
    "missing",
    "wasnt",
    "isnt",
    "didnt",
    "hasnt",
    "skipped",
    "out",
    "un",
];
/// How many words before or behind a word may take it back.
const REACH: (usize, usize) = (3, 2);

fn words(clause: &str) -> Vec<&str> {
    clause.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect()
}

fn is_negation(word: &&str) -> bool {
    NEGATIONS.contains(word)
}

/// Whether what stands before the word takes it back; behind a "but" the sentence begins anew.
fn is_taken_back(clause: &[&str], at: usize) -> bool {
    clause[..at].iter().rev().take(REACH.0).take_while(|word| **word != "but").any(is_negation)
}

fn names_treatment(word: &str) -> bool {
    ["treat", "condition", "dechlorin"].iter().any(|stem| word.starts_with(stem))
}

fn says_untreated(clause: &[&str], at: usize) -> bool {
    let behind = || clause[at + 1..].iter().take(REACH.1).any(is_negation);
    let word = clause[at];
    word.strip_prefix("un").is_some_and(names_treatment)
        || (names_treatment(word) && (is_taken_back(clause, at) || behind()))
}

fn says_treated(clause: &[&str], at: usize) -> bool {
    names_treatment(clause[at]) && !says_untreated(clause, at)
}

fn names_tap(clause: &[&str], at: usize) -> bool {
    ["tap", "tapwater", "mains", "faucet"].contains(&clause[at]) && !is_taken_back(clause, at)
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
        for note in [
            "tap water, not treated",
            "untreated tap",
            "unconditioned water",
            "without conditioner",
            "forgot the dechlorinator",
            "tap, conditioner forgotten",
            "didn't treat the tap water",
            "not in tank water but tap water",
        ] {
            assert!(is_untreated(note), "{note}");
        }
        for note in [
            "tap water with conditioner",
            "no fish died, treated tap water",
            "tank water, not tap",
            "tapped the sponge clean",
            "dechlorinated tap water",
        ] {
            assert!(!is_untreated(note), "{note}");
        }
        assert!(!is_untreated("treated tap water") && !is_untreated("in tank water") && !is_untreated(""));
    }
}
