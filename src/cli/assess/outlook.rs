//! What the forecast adds to an assessment: the test to make next, and what actions would change.

use anstream::println;

use super::contract::WhatIfLine;
use crate::cycle::Assessment;
use crate::cycle::advice::{ALKALINITY_CAUTION, AMMONIA_CAUTION, CHANGE_CAUTION, WARMTH_CAUTION};
use crate::cycle::animals::Animals;
use crate::cycle::danger::any_harms;
use crate::cycle::forecast::{Action, Awaited, LOW_MG_L};

/// Tests that are named.
const TESTS: usize = 2;

/// Prints the most telling tests, and the comparison of actions if asked for.
pub fn print(assessment: &Assessment, what_if: bool) {
    let posterior = &assessment.posterior;
    let tests = posterior.next_tests();
    // Animals in danger need their own next test, which the advice names.
    let endangered = assessment.animals == Animals::Present && any_harms(&assessment.dangers);
    let is_foreseen = assessment.forecast_holds && assessment.told_on().is_none();
    if !assessment.ready && !endangered && is_foreseen && !tests.is_empty() {
        println!("\nMost telling next");
        for test in tests.iter().take(TESTS) {
            println!("- {test}");
        }
    }
    if what_if {
        println!("\nWhat if, today");
        println!("({})", until(assessment));
        let comparisons = posterior.comparisons();
        comparisons.iter().for_each(|comparison| println!("- {comparison}"));
        println!("{}", reliance(assessment));
        comparisons.iter().filter_map(|comparison| caution(comparison.action)).for_each(|(what, caution)| {
            println!("{what}: {caution}");
        });
    }
}

/// How far the compared days can be relied on.
const fn reliance(assessment: &Assessment) -> &'static str {
    if assessment.strike.is_some() {
        "Something done within the last week may have killed bacteria: do not rely on these days."
    } else if assessment.forecast_holds {
        "The forecast rests on a model: take the days as rough."
    } else {
        "The forecast does not agree with what was read: do not rely on these days."
    }
}

/// What the compared days lead up to.
fn until(assessment: &Assessment) -> String {
    match assessment.posterior.awaited() {
        Awaited::Proof => "days until a proof would pass".to_owned(),
        Awaited::Settling => {
            format!("days until ammonia and nitrite stay below {LOW_MG_L} mg/L, the animals fed as now")
        }
    }
}

/// What to beware of with `action`, under the word for what it brings into the tank.
const fn caution(action: Action) -> Option<(&'static str, &'static str)> {
    match action {
        Action::Redose { .. } => Some(("Ammonia", AMMONIA_CAUTION)),
        Action::Alkalinity { .. } => Some(("Alkalinity", ALKALINITY_CAUTION)),
        Action::Warm { .. } => Some(("Warmth", WARMTH_CAUTION)),
        Action::WaterChange { .. } => Some(("Water", CHANGE_CAUTION)),
        Action::GoOn | Action::MatureMedium { .. } | Action::MoreOxygen => None,
    }
}

/// The comparison as JSON lines hold it.
pub fn lines(assessment: &Assessment) -> Vec<WhatIfLine> {
    let compared = assessment.posterior.comparisons();
    compared
        .iter()
        .map(|comparison| WhatIfLine {
            action: comparison.action.to_string(),
            days_later_low: comparison.change.low,
            days_later: comparison.change.middle,
            days_later_high: comparison.change.high,
            until: match assessment.posterior.awaited() {
                Awaited::Proof => "proof",
                Awaited::Settling => "settling",
            },
            passes_within_90_days: 1.0 - comparison.never,
            reliable: assessment.forecast_holds && assessment.strike.is_none(),
        })
        .collect()
}
