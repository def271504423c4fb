//! What `assess` says in words and what it gives as JSON are the same verdict.

use std::path::Path;

use chrono::{DateTime, NaiveDate};
use predicates::str::contains;
use rayon::prelude::*;
use serde_json::Value;

use crate::support::home::tintwell;

/// Every fifth of the simulated histories: all stages, fish in, stalls and faults are among them.
fn tanks() -> impl Iterator<Item = String> {
    (1..=60).step_by(5).map(|number| format!("tank_{number:03}"))
}

fn out(home: &Path, arguments: &[&str]) -> String {
    let run = tintwell(home).args(arguments).assert().success();
    String::from_utf8(run.get_output().stdout.clone()).unwrap()
}

/// Words and JSON of one simulated history.
fn both(tank: &str) -> (String, Value) {
    let home = tempfile::tempdir().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles").join(tank);
    let files = ["tank.json", "readings.csv", "events.csv"].map(|name| folder.join(name));
    tintwell(home.path()).arg("import").args(&files).assert().success();
    let now = std::fs::read_to_string(folder.join("now.txt")).unwrap();
    let asked = ["assess", "--what-if", "--plan-proof", "--at", now.trim()];
    let json = out(home.path(), &[&["--json"], &asked[..]].concat());
    (out(home.path(), &asked), serde_json::from_str(&json).unwrap())
}

fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap()
}

fn dates(words: &str, json: &Value, tank: &str) {
    let on = &json["ready_on"];
    let date = |key: &str| on[key].as_str().map(|date| date.parse::<NaiveDate>().unwrap());
    match (date("earliest"), date("likely"), date("latest")) {
        (Some(earliest), Some(likely), Some(latest)) => {
            let said = format!(
                "Ready between {} and {}, most likely {} ",
                earliest.format("%-d %B"),
                latest.format("%-d %B"),
                likely.format("%-d %B %Y")
            );
            assert!(
                words.contains(&said) || words.contains("It may be ready already"),
                "{tank}: {said}\n{words}"
            );
        }
        _ => assert!(!words.contains("Ready between"), "{tank}: {words}"),
    }
}

fn verdict(words: &str, json: &Value, tank: &str) {
    let ready = json["ready"].as_bool().unwrap();
    assert_eq!(words.contains("READY for animals"), ready, "{tank}");
    let stalled = text(json, "stage") == "stalled";
    assert_eq!(words.contains("NOT READY: stalled"), stalled, "{tank}");
    if let Some(cause) = json["stall_cause"].as_str() {
        assert!(words.contains(&format!("({})", cause.replace('_', " "))), "{tank}: {cause}");
    }
    let proved = words.lines().find(|line| line.starts_with("- proof")).unwrap();
    match text(json, "proof") {
        "not_shown" => {
            assert!(proved.contains("not shown") || proved.contains("holds no dose"), "{tank}: {proved}");
        }
        outcome => assert!(proved.ends_with(outcome), "{tank}: {proved}"),
    }
}

fn faults(words: &str, json: &Value, tank: &str) {
    let said: Vec<&str> = words.lines().filter(|line| line.starts_with("- the log: ")).collect();
    let expected: Vec<String> = list(json, "faults")
        .iter()
        .map(|fault| {
            let at = DateTime::parse_from_rfc3339(text(fault, "at")).unwrap().format("%Y-%m-%d %H:%M");
            format!("- the log: {}, {at}: {}", text(fault, "kind").replace('_', " "), text(fault, "why"))
        })
        .collect();
    assert_eq!(said, expected, "{tank}");
}

fn advice(words: &str, json: &Value, tank: &str) {
    let today = words.split("\nToday\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let numbered: Vec<&str> =
        today.lines().filter(|line| line.starts_with(|first: char| first.is_ascii_digit())).collect();
    let expected: Vec<String> = list(json, "advice")
        .iter()
        .enumerate()
        .map(|(index, advice)| {
            let amount = Some(text(advice, "amount")).filter(|amount| !amount.is_empty());
            let amount = amount.map(|amount| format!(" — {amount}")).unwrap_or_default();
            format!("{}. {}{amount}", index + 1, text(advice, "do"))
        })
        .collect();
    assert_eq!(numbered, expected, "{tank}");
    let reasons = today.lines().filter_map(|line| line.strip_prefix("   because "));
    for (reason, advice) in reasons.zip(list(json, "advice")) {
        assert!(text(advice, "why").starts_with(reason), "{tank}: {reason}");
    }
}

fn plan(words: &str, json: &Value, tank: &str) {
    let plan = &json["proof_plan"];
    if plan["animals"] == true {
        assert!(words.contains("dose no ammonia, ever"), "{tank}");
        return;
    }
    let dose = plan["dose_mg_l"].as_f64().unwrap();
    assert_eq!(words.contains(&format!("- now: dose {dose:.1} mg/L ammonia")), dose > 0.0, "{tank}: {dose}");
    if let Some(grams) = plan["ammonium_chloride_g"].as_f64().filter(|_| dose > 0.0) {
        assert!(words.contains(&format!("{grams:.2} g of ammonium chloride")), "{tank}: {grams}");
    }
    let rise = plan["nitrate_rise_mg_l"].as_f64().unwrap();
    assert!(words.contains(&format!("(by about {rise:.0} mg/L)")), "{tank}: {rise}");
}

/// A shift of the date in whole days.
fn in_days(days: f64) -> String {
    match days.round() as i64 {
        0 => "no change".to_owned(),
        -1 => "1 day earlier".to_owned(),
        1 => "1 day later".to_owned(),
        days if days < 0 => format!("{} days earlier", -days),
        days => format!("{days} days later"),
    }
}

fn what_if(words: &str, json: &Value, tank: &str) {
    let part = words.split("\nWhat if, today\n").nth(1).unwrap();
    let (until, part) = part.split_once('\n').unwrap();
    let said: Vec<&str> = part.lines().take_while(|line| line.starts_with("- ")).collect();
    let rows = list(json, "what_if");
    assert_eq!(said.len(), rows.len(), "{tank}");
    let settles = rows.iter().all(|row| text(row, "until") == "settling");
    assert_eq!(until.contains("stay below"), settles, "{tank}: {until}");
    assert_eq!(
        until.contains("proof"),
        rows.iter().all(|row| text(row, "until") == "proof"),
        "{tank}: {until}"
    );
    for (line, row) in said.iter().zip(rows) {
        assert!(line.starts_with(&format!("- {}: ", text(row, "action"))), "{tank}: {line}");
        let days = |key: &str| row[key].as_f64().unwrap();
        let (low, middle, high) = (days("days_later_low"), days("days_later"), days("days_later_high"));
        assert!(low <= middle && middle <= high, "{tank}: {row}");
        if !line.contains("no difference") {
            let [low, middle, high] = [low, middle, high].map(in_days);
            assert!(line.contains(&format!(" {middle} (")), "{tank}: {line} for {row}");
            assert!(line.ends_with(&format!("(80 %: {low} to {high})")), "{tank}: {line} for {row}");
        }
    }
}

#[test]
fn words_and_json_give_the_same_verdict_dates_faults_advice_plan_and_comparison() {
    tanks().collect::<Vec<_>>().par_iter().for_each(|tank| {
        let (words, json) = both(tank);
        for compare in [verdict, dates, faults, advice, plan, what_if] {
            compare(&words, &json, tank);
        }
    });
}

#[test]
fn a_tank_that_is_not_there_and_an_empty_log_are_told_with_what_to_do() {
    let home = tempfile::tempdir().unwrap();
    let asked = |arguments: &[&str]| tintwell(home.path()).args(arguments).assert().failure().code(2);
    asked(&["assess", "--what-if"]).stderr(contains("tintwell add"));
    asked(&["assess", "--what-if", "--tank", "pond"]).stderr(contains("tintwell add"));
    tintwell(home.path()).args(["add", "--tank", "hallway", "ammonia=1"]).assert().success();
    asked(&["assess", "--what-if", "--tank", "halway"]).stderr(contains("did you mean \"hallway\"?"));
}

#[test]
fn a_log_older_than_the_window_says_that_it_was_not_searched_for_faults() {
    let home = tempfile::tempdir().unwrap();
    for at in ["2031-01-02 10:00", "2031-01-09 10:00", "2031-06-01 10:00"] {
        let reading = ["add", "--tank", "hallway", "--at", at, "ammonia=0", "nitrite=0"];
        tintwell(home.path()).args(reading).assert().success();
    }
    let at = |at: &str| out(home.path(), &["assess", "--at", at]);
    assert!(at("2031-06-02 10:00").contains("the log before 2031-06-01 was not searched for faults"));
    assert!(!at("2031-02-02 10:00").contains("was not searched"));
}
