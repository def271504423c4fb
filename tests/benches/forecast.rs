//! Coverage, error, width and time of the forecast over simulated histories.
//!
//! `cargo bench --bench forecast` prints a line for each tank and the summary; `TINTWELL_PARTICLES`,
//! `TINTWELL_TRUST` and `TINTWELL_SEED` stand for other settings.

#[path = "../support/cycles.rs"]
mod cycles;
#[path = "../support/truth.rs"]
mod truth;

use std::time::Instant;

use chrono::{DateTime, FixedOffset};
use tintwell::cycle::TankHistory;
use tintwell::cycle::forecast::{Filter, Posterior, Settings, Span};

const NEVER: f64 = f64::INFINITY;

/// One tank's outcome.
struct Outcome {
    span: Span,
    truth: Option<f64>,
    rule: Option<f64>,
    stage_rule: Option<f64>,
    seconds: f64,
    pass: f64,
    never: f64,
    ready: bool,
}

fn main() {
    let defaults = Settings::default();
    let settings = Settings {
        particles: from_environment("TINTWELL_PARTICLES").unwrap_or(defaults.particles),
        trust: from_environment("TINTWELL_TRUST").unwrap_or(defaults.trust),
        seed: from_environment("TINTWELL_SEED").unwrap_or(defaults.seed),
        ..defaults
    };
    let mut outcomes = Vec::new();
    for case in truth::all() {
        let (history, now) = cycles::simulated(&case.tank);
        let begun = Instant::now();
        let posterior = Filter::run(&history, now, &settings);
        let seconds = begun.elapsed().as_secs_f64();
        let outcome = Outcome {
            span: posterior.days_to_proof().unwrap_or(Span { low: NEVER, middle: NEVER, high: NEVER }),
            truth: case.days_to_proof,
            rule: rule_of_weeks(&history, now),
            stage_rule: rule_of_stage(&case.stage, &history, now),
            seconds,
            pass: posterior.proof_passes_now(),
            never: posterior.never(),
            ready: case.ready,
        };
        print_case(&case, &posterior, &outcome);
        outcomes.push(outcome);
    }
    summarise(&outcomes);
}

/// A number from the environment.
fn from_environment<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok()?.parse().ok()
}

/// The rule of thumb: ready five weeks after the start.
fn rule_of_weeks(history: &TankHistory, now: DateTime<FixedOffset>) -> Option<f64> {
    let age = (now - history.facts.started_at?).num_minutes() as f64 / 1440.0;
    Some((35.0 - age).max(0.0_f64))
}

/// The best simple rule: days by stage, as common practice has them (nitrite peaks about day 24 of 36
/// and takes a few days to fall). It is told the true stage, which a keeper has to guess.
fn rule_of_stage(stage: &str, history: &TankHistory, now: DateTime<FixedOffset>) -> Option<f64> {
    match stage {
        "nitrite_falling" => Some(5.0),
        "nitrite_peak" => Some(12.0),
        _ => rule_of_weeks(history, now),
    }
}

fn print_case(case: &truth::Truth, posterior: &Posterior, outcome: &Outcome) {
    let capacity = posterior.capacity().expect("scouts");
    println!(
        "{} {:<16} truth {:>6} span {:5.1} {:5.1} {:5.1} pass {:.2} never {:.2} cap {:.2} [{:.2} {:.2}] {:.2} [{:.2} {:.2}] {:.0} ms",
        case.tank,
        case.stage,
        outcome.truth.map_or("never".to_owned(), |days| format!("{days:.2}")),
        outcome.span.low,
        outcome.span.middle,
        outcome.span.high,
        outcome.pass,
        posterior.never(),
        capacity.ammonia.middle,
        capacity.ammonia.low,
        capacity.ammonia.high,
        capacity.nitrite.middle,
        capacity.nitrite.low,
        capacity.nitrite.high,
        outcome.seconds * 1e3,
    );
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn summarise(outcomes: &[Outcome]) {
    let dated: Vec<&Outcome> = outcomes.iter().filter(|o| o.truth.is_some_and(|days| days > 0.0)).collect();
    let days = |o: &Outcome| o.truth.unwrap_or(f64::INFINITY);
    let held = dated.iter().filter(|o| o.span.low <= days(o) && days(o) <= o.span.high).count();
    let early = dated.iter().filter(|o| days(o) < o.span.low).count();
    let given: Vec<&&Outcome> = dated.iter().filter(|o| o.never <= 0.5).collect();
    let held_given = given.iter().filter(|o| o.span.low <= days(o) && days(o) <= o.span.high).count();
    let error = |o: &&&Outcome| (o.span.middle - days(o)).abs();
    let rule = |o: &&Outcome| (o.rule.unwrap_or(f64::NAN) - days(o)).abs();
    println!(
        "interval holds {held} of {} (below {early}), finite {held_given} of {}",
        dated.len(),
        given.len()
    );
    println!("median error {:.2} d", median(given.iter().map(error).collect()));
    println!("rule of five weeks: median error {:.2} d", median(dated.iter().map(rule).collect()));
    let stage_rule = |o: &&Outcome| (o.stage_rule.unwrap_or(f64::NAN) - days(o)).abs();
    println!("rule by true stage: median error {:.2} d", median(dated.iter().map(stage_rule).collect()));
    println!(
        "mean width {:.2} d, median width {:.2} d",
        given.iter().map(|o| o.span.high - o.span.low).sum::<f64>() / given.len() as f64,
        median(given.iter().map(|o| o.span.high - o.span.low).collect())
    );
    let far: Vec<&Outcome> = dated.iter().copied().filter(|o| days(o) > 5.0).collect();
    let far_error = far.iter().map(|o| (o.span.middle - days(o)).abs()).collect();
    println!(
        "more than 5 d off: median error {:.2} d, rule {:.2} d",
        median(far_error),
        median(far.iter().map(rule).collect())
    );
    let brier = outcomes.iter().map(|o| (o.pass - f64::from(u8::from(o.ready))).powi(2)).sum::<f64>();
    println!("proof passes now: Brier score {:.3}", brier / outcomes.len() as f64);
    println!(
        "time: median {:.3} s, most {:.3} s",
        median(outcomes.iter().map(|o| o.seconds).collect()),
        outcomes.iter().map(|o| o.seconds).fold(0.0, f64::max)
    );
}
