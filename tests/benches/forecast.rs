//! Coverage, error, width and time of the forecast over simulated histories, beside simple rules.
//!
//! `cargo bench --bench forecast` prints a line for each tank and the summary; `TINTWELL_PARTICLES` and
//! `TINTWELL_SEED` stand for other settings, `TINTWELL_HISTORIES` for another folder of the same form.

#[path = "../suite/support/cycles.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod cycles;
#[path = "support/rules.rs"]
mod rules;
#[path = "../suite/support/truth.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod truth;

use std::time::Instant;

use rules::{Case, median};
use tintwell::cycle::forecast::{Filter, Posterior, Settings, Span};

/// One tank's outcome.
struct Outcome {
    case: Case,
    span: Option<Span>,
    by_filter: Option<Span>,
    seconds: f64,
    pass: f64,
    never: f64,
    ready: bool,
}

fn main() {
    let defaults = Settings::default();
    let settings = Settings {
        particles: from_environment("TINTWELL_PARTICLES").unwrap_or(defaults.particles),
        seed: from_environment("TINTWELL_SEED").unwrap_or(defaults.seed),
        ..defaults
    };
    let mut outcomes = Vec::new();
    for truth in truth::all() {
        let (history, now) = cycles::simulated(&truth.tank);
        let begun = Instant::now();
        let posterior = Filter::run(&history, now, &settings);
        let outcome = Outcome {
            seconds: begun.elapsed().as_secs_f64(),
            span: posterior.days_to_proof(),
            by_filter: posterior.days_by_filter(),
            pass: posterior.proof_passes_now(),
            never: posterior.never(),
            ready: truth.ready,
            case: Case::new(&truth, &history, now),
        };
        print_case(&truth.tank, &posterior, &outcome);
        outcomes.push(outcome);
    }
    summarise(&outcomes, &settings);
}

/// A number from the environment.
fn from_environment<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok()?.parse().ok()
}

fn print_case(tank: &str, posterior: &Posterior, outcome: &Outcome) {
    let never = Span { low: f64::INFINITY, middle: f64::INFINITY, high: f64::INFINITY };
    let span = outcome.span.unwrap_or(never);
    let capacity = posterior.capacity().expect("scouts");
    println!(
        "{tank} {:<16} truth {:>6} span {:5.1} {:5.1} {:5.1} pass {:.2} never {:.2} cap {:.2} [{:.2} {:.2}] {:.2} [{:.2} {:.2}] {:.0} ms",
        outcome.case.stage,
        outcome.case.days.map_or("never".to_owned(), |days| format!("{days:.2}")),
        span.low,
        span.middle,
        span.high,
        outcome.pass,
        outcome.never,
        capacity.ammonia.middle,
        capacity.ammonia.low,
        capacity.ammonia.high,
        capacity.nitrite.middle,
        capacity.nitrite.low,
        capacity.nitrite.high,
        outcome.seconds * 1e3,
    );
}

/// A tank that will pass, with its date: truth and forecast in days.
type Dated<'a> = (&'a Outcome, f64, Span);

fn summarise(outcomes: &[Outcome], settings: &Settings) {
    let waiting = outcomes.iter().filter(|outcome| outcome.case.days.is_some_and(|days| days > 0.0));
    let all = waiting.clone().count();
    let given: Vec<Dated<'_>> = waiting
        .filter(|outcome| outcome.never <= 0.5)
        .filter_map(|outcome| Some((outcome, outcome.case.days?, outcome.span?)))
        .collect();
    println!("\na date is given for {} of {all} tanks that will pass within 90 days", given.len());
    for stage in ["none", "ammonia_falling", "nitrite_peak", "nitrite_falling", "stalled"] {
        let of_stage: Vec<Dated<'_>> =
            given.iter().copied().filter(|(outcome, ..)| outcome.case.stage == stage).collect();
        print_share(stage, &of_stage);
    }
    print_share("all", &given);
    let alone = given.iter().filter_map(|(outcome, days, _)| Some((*outcome, *days, outcome.by_filter?)));
    print_share("by filter alone", &alone.collect::<Vec<_>>());
    let far: Vec<Dated<'_>> = given.iter().copied().filter(|(_, days, _)| *days > 5.0).collect();
    print_share("over 5 d off", &far);
    print_rules(&given, &far);
    let brier = outcomes.iter().map(|o| (o.pass - f64::from(u8::from(o.ready))).powi(2)).sum::<f64>();
    println!("proof passes now: Brier score {:.3}", brier / outcomes.len() as f64);
    print_speed(outcomes, settings);
}

fn print_share(name: &str, dated: &[Dated<'_>]) {
    if dated.is_empty() {
        return;
    }
    let count = dated.len() as f64;
    let held = dated.iter().filter(|(_, days, span)| (span.low..=span.high).contains(days)).count();
    let widths: Vec<f64> = dated.iter().map(|(_, _, span)| span.high - span.low).collect();
    println!(
        "{name:<16} {held:>3} of {count:>3} hold ({:.0} %), width mean {:.1} d, median {:.1} d, error median {:.2} d, mean {:.2} d",
        100.0 * held as f64 / count,
        widths.iter().sum::<f64>() / count,
        median(widths),
        error(dated),
        dated.iter().map(|(_, days, span)| (span.middle - days).abs()).sum::<f64>() / count,
    );
}

/// Median absolute error of the likeliest day.
fn error(dated: &[Dated<'_>]) -> f64 {
    median(dated.iter().map(|(_, days, span)| (span.middle - days).abs()).collect())
}

/// The simple rules over the same tanks, their numbers chosen on them, and for each tank on the others.
fn print_rules(given: &[Dated<'_>], far: &[Dated<'_>]) {
    fn cases<'a>(dated: &[Dated<'a>]) -> Vec<&'a Case> {
        dated.iter().map(|(outcome, ..)| &outcome.case).collect()
    }
    let all = cases(given);
    for (rule, left_out) in rules::fitted(&all).iter().zip(rules::errors_left_out(&all)) {
        println!(
            "rule: {:<60} median error {:.2} d, over 5 d off {:.2} d; numbers chosen without the tank {left_out:.2} d; the forecast's is {:.0} and {:.0} % of it",
            rule.to_string(),
            rule.error(&all),
            rule.error(&cases(far)),
            100.0 * error(given) / rule.error(&all),
            100.0 * error(given) / left_out,
        );
    }
}

fn print_speed(outcomes: &[Outcome], settings: &Settings) {
    let seconds: Vec<f64> = outcomes.iter().map(|o| o.seconds).collect();
    let days: f64 = outcomes.iter().map(|outcome| outcome.case.age).sum();
    let total: f64 = seconds.iter().sum();
    println!(
        "time: median {:.3} s, most {:.3} s; {:.0} trajectories a second over a mean history of {:.0} days",
        median(seconds.clone()),
        seconds.iter().copied().fold(0.0, f64::max),
        (settings.particles * outcomes.len()) as f64 / total,
        days / outcomes.len() as f64,
    );
}
