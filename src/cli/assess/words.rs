//! An assessment in words: the verdict first, then why, then what to do, then what would change it.

use anstream::println;
use anstyle::Style;

use crate::cycle::Assessment;
use crate::cycle::advice::AMMONIA_CAUTION;
use crate::cycle::animals::Animals;
use crate::cycle::assessment::ENOUGH_TESTS;
use crate::cycle::plan::ProofPlan;
use crate::cycle::proof::Outcome;
use crate::report::verdict;
use crate::terms::text::{printable, shell_word};

const BOLD: Style = Style::new().bold();

/// Prints everything.
pub fn print(assessment: &Assessment, plan: bool) {
    verdict(assessment);
    reasons(assessment);
    today(assessment);
    if plan {
        print_plan(&assessment.plan);
    }
    what_would_change(assessment);
}

/// A heading after an empty line.
pub fn heading(text: &str) {
    println!("\n{BOLD}{text}{BOLD:#}");
}

fn verdict(assessment: &Assessment) {
    let word = verdict::headline(assessment);
    let at = assessment.at.format("%Y-%m-%d %H:%M");
    println!(
        "{BOLD}{}: {word}{BOLD:#}  (day {:.0}, as of {at})",
        printable(&assessment.tank),
        assessment.day
    );
    verdict::date(assessment).into_iter().for_each(|date| println!("{date}"));
    verdict::settling(assessment).into_iter().for_each(|line| println!("{line}"));
}

fn reasons(assessment: &Assessment) {
    heading("Why");
    println!("- {}", verdict::stage(assessment));
    if let Some((cause, sentence)) = assessment.stall_cause.zip(assessment.stall_sentence()) {
        println!("- {sentence} ({})", cause.word().replace('_', " "));
    }
    for obstacle in &assessment.obstacles {
        println!("- {}", obstacle.sentence());
    }
    if let Some(load) = &assessment.load {
        println!("- {}", load.sentence());
    }
    println!("- {}", verdict::chance(assessment));
    proof(assessment);
    let balances = verdict::nitrogen(assessment).into_iter().chain(verdict::buffer(assessment));
    balances.for_each(|line| println!("- {line}"));
    for fault in &assessment.faults {
        let what = fault.kind.word().replace('_', " ");
        println!("- the log: {what}, {}: {}", fault.at.format("%Y-%m-%d %H:%M"), fault.why());
    }
    verdict::searched(assessment).into_iter().for_each(|line| println!("- {line}"));
    for left_out in &assessment.left_out {
        println!("- left out: {left_out}");
    }
    assessment.dangers.iter().filter_map(verdict::danger).for_each(|line| println!("- {line}"));
}

fn proof(assessment: &Assessment) {
    let Some(proof) = &assessment.proof else {
        println!("- {}", verdict::no_proof(assessment));
        return;
    };
    let outcome = verdict::outcome(proof.outcome);
    println!("- proof of {}: {outcome}", proof.dosed_at.format("%Y-%m-%d"));
    for line in &proof.evidence {
        println!("    {line}");
    }
}

fn today(assessment: &Assessment) {
    heading("Today");
    for (index, advice) in assessment.advice.iter().enumerate() {
        let amount = if advice.amount.is_empty() { String::new() } else { format!(" — {}", advice.amount) };
        println!("{}. {}{amount}", index + 1, advice.action);
        println!("   because {}", advice.why);
        if let Some(caution) = advice.caution {
            println!("   Caution: {caution}");
        }
    }
}

fn print_plan(plan: &ProofPlan) {
    heading("Plan of the proof");
    if plan.animals {
        println!("- animals are in the tank: dose no ammonia, ever. Their food is the test");
        println!(
            "- feed as usual and test ammonia and nitrite daily for a week: both at zero throughout, with nitrate rising, show that the bacteria keep up with these animals"
        );
        return;
    }
    for first in &plan.first {
        println!("- first: {first}");
    }
    let amounts: Vec<String> = [
        plan.ammonium_chloride_g.map(|grams| format!("{grams:.2} g of ammonium chloride")),
        plan.ammonia_solution_ml.map(|ml| format!("{ml:.1} mL of 10 % ammonia solution")),
    ]
    .into_iter()
    .flatten()
    .collect();
    let amounts = if amounts.is_empty() { String::new() } else { format!(": {}", amounts.join(" or ")) };
    if plan.dose_mg_l > 0.0 {
        println!("- now: dose {:.1} mg/L ammonia{amounts}; log it with `tintwell event`", plan.dose_mg_l);
    }
    println!("- feed nothing and change no water until the test");
    println!(
        "- {} to {}: test ammonia, nitrite and nitrate",
        plan.test_at.format("%Y-%m-%d %H:%M"),
        plan.test_until.format("%H:%M")
    );
    println!(
        "- it passes if ammonia and nitrite both read as zero and nitrate has risen (by about {:.0} mg/L); it fails if either stays at 0.25 mg/L or more",
        plan.nitrate_rise_mg_l
    );
    println!("- the outcome is clear as soon as these three readings are logged");
    println!("  Caution: {AMMONIA_CAUTION}");
}

fn what_would_change(assessment: &Assessment) {
    heading("What would change this");
    if assessment.ready {
        println!("- ammonia or nitrite above zero in any test, or a week without food for the bacteria");
        return;
    }
    if let Some(cause) = assessment.stall_cause {
        println!("- {}", cause.deciding_observation(assessment.animals));
    }
    if assessment.load.is_some() {
        println!("- ammonia or nitrite above zero in any test; more animals or more food");
        return;
    }
    match assessment.outcome {
        _ if assessment.animals == Animals::Present => println!(
            "- a week of tests with the animals fed as usual: ammonia and nitrite at zero in all of them would show that the bacteria keep up, either above zero that they do not"
        ),
        Outcome::Passed => println!("- another proof with ammonia and nitrite clearly at zero after 24 h"),
        _ => println!(
            "- a proof: 2 mg/L ammonia, and 24 h later ammonia and nitrite at zero and nitrate risen (`tintwell assess --plan-proof`)"
        ),
    }
    if assessment.is_hardly_known() && !assessment.is_age_told {
        let tank = shell_word(&assessment.tank);
        println!("- the day it was filled: `tintwell tank {tank} --started-at DATE`");
    }
    if assessment.tests < ENOUGH_TESTS {
        println!("- more readings: {} so far, too few to judge by", assessment.tests);
    }
}
