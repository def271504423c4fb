//! What the forecast adds to an assessment: the test to make next, and what actions would change.

use anstream::println;

use super::contract::WhatIfLine;
use crate::cycle::Assessment;
use crate::cycle::advice::{ALKALINITY_CAUTION, AMMONIA_CAUTION};

/// Tests that are named.
const TESTS: usize = 2;

/// Prints the most telling tests, and the comparison of actions if asked for.
pub fn print(assessment: &Assessment, what_if: bool) {
    let posterior = &assessment.posterior;
    let tests = posterior.next_tests();
    if !assessment.ready && !tests.is_empty() {
        println!("\nMost telling next");
        for test in tests.iter().take(TESTS) {
            println!("- {test}");
        }
    }
    if what_if {
        println!("\nWhat if, today");
        for comparison in posterior.comparisons() {
            println!("- {comparison}");
        }
        println!("The forecast rests on a model: take the days as rough.");
        println!("Ammonia: {AMMONIA_CAUTION}");
        println!("Alkalinity: {ALKALINITY_CAUTION}");
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
            passes_within_90_days: 1.0 - comparison.never,
        })
        .collect()
}
