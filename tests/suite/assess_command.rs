//! `assess` through the binary: the contract, the moment of judgement, and bad input.

use std::path::Path;

use predicates::prelude::*;
use serde_json::Value;

use crate::support::cycles::folder;
use crate::support::home::tintwell;

struct Home(tempfile::TempDir);

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn run(&self, arguments: &[&str]) -> assert_cmd::assert::Assert {
        tintwell(&self.0).args(arguments).assert()
    }

    fn import(&self, tank: &str, files: &[&str]) {
        let paths: Vec<_> = files.iter().map(|name| folder().join(tank).join(name)).collect();
        let mut arguments = vec!["import"];
        arguments.extend(paths.iter().map(|path: &std::path::PathBuf| path.to_str().unwrap()));
        self.run(&arguments).success();
    }

    fn judged(&self, at: &str) -> Value {
        let run = self.run(&["assess", "--json", "--at", at]).success();
        serde_json::from_slice(&run.get_output().stdout).unwrap()
    }
}

const ALL: [&str; 3] = ["tank.json", "readings.csv", "events.csv"];

fn now_of(tank: &str) -> String {
    std::fs::read_to_string(folder().join(tank).join("now.txt")).unwrap().trim().to_owned()
}

#[test]
fn the_json_line_keeps_its_contract() {
    let home = Home::new();
    home.import("tank_032", &ALL);
    let said = home.judged(&now_of("tank_032"));
    let keys: Vec<&str> = said.as_object().unwrap().keys().map(String::as_str).collect();
    let expected = ["advice", "at", "faults", "proof", "ready", "ready_on", "stage", "stall_cause", "tank"];
    let mut sorted = keys;
    sorted.sort_unstable();
    assert_eq!(sorted, expected);
    for advice in said["advice"].as_array().unwrap() {
        assert!(advice["do"].is_string() && advice["amount"].is_string() && advice["why"].is_string());
    }
    for fault in said["faults"].as_array().unwrap() {
        chrono::DateTime::parse_from_rfc3339(fault["at"].as_str().unwrap()).unwrap();
        assert!(fault["kind"].is_string() && fault["why"].is_string());
    }
    if let Some(on) = said["ready_on"].as_object() {
        assert!(on["earliest"].as_str() <= on["likely"].as_str());
        assert!(on["likely"].as_str() <= on["latest"].as_str());
    }
}

/// What a log says of a moment must not depend on what is logged later.
#[test]
fn nothing_dated_later_changes_the_verdict() {
    let tank = "tank_001";
    let at = "2025-04-24T12:00:00+01:00";
    let whole = Home::new();
    whole.import(tank, &ALL);

    let cut = Home::new();
    cut.import(tank, &["tank.json"]);
    for name in ["readings.csv", "events.csv"] {
        let text = std::fs::read_to_string(folder().join(tank).join(name)).unwrap();
        let earlier = |line: &&str| !line.starts_with("2025") || **line < *"2025-04-24T12";
        let kept: String = text.lines().filter(earlier).map(|line| format!("{line}\n")).collect();
        let path = cut.0.path().join(name);
        std::fs::write(&path, kept).unwrap();
        cut.run(&["import", path.to_str().unwrap()]).success();
    }
    assert_eq!(whole.judged(at), cut.judged(at));
}

#[test]
fn a_ready_tank_is_told_so_in_words_with_food_and_water_changes() {
    let home = Home::new();
    home.import("tank_023", &ALL);
    home.run(&["assess", "--at", &now_of("tank_023")])
        .success()
        .stdout(predicate::str::contains("READY for animals, added in stages"))
        .stdout(predicate::str::contains("g a day"))
        .stdout(predicate::str::contains("change water each week"));
}

/// A proof that passes although ammonia went at a seventh of that pace before, and nothing fed the bacteria in
/// between: it counts, but is not taken for certain.
#[test]
fn a_proof_that_other_readings_put_in_doubt_is_to_be_made_once_more() {
    let home = Home::new();
    let facts = ["--volume", "200", "--temperature", "25", "--ammonia-source", "ammonium chloride"];
    home.run(&[&["tank", "sudden", "--started-at", "2031-03-01", "--tap-nitrate", "0"], &facts[..]].concat())
        .success();
    let at = |day: u32, hour: u32| format!("2031-03-{day:02}T{hour:02}:00:00+01:00");
    let log = |what: &str, at: String, entries: &[&str]| {
        home.run(&[&[what, "--tank", "sudden", "--at", &at], entries].concat()).success();
    };
    log("event", at(2, 18), &["mature_medium=30", "ammonia_dose=2"]);
    log("add", at(4, 19), &["ammonia=1.5", "nitrite=0.1", "nitrate=2"]);
    log("add", at(7, 19), &["ammonia=0.6", "nitrite=0.5", "nitrate=5"]);
    log("add", at(10, 19), &["ammonia=0.1", "nitrite=0.7", "nitrate=8"]);
    log("add", at(13, 19), &["ammonia=0", "nitrite=0.2", "nitrate=10"]);
    log("add", at(15, 19), &["ammonia=0", "nitrite=0", "nitrate=12"]);
    log("event", at(15, 20), &["ammonia_dose=2"]);
    log("add", at(16, 20), &["ammonia=0", "nitrite=0.05", "nitrate=20"]);
    let said = home.judged(&at(16, 21));
    assert_eq!((&said["ready"], &said["proof"]), (&true.into(), &"passed".into()), "{said}");
    assert_eq!(said["advice"][0]["do"], "prove it once more before animals come", "{said}");
    home.run(&["assess", "--at", &at(16, 21)])
        .success()
        .stdout(predicate::str::contains("by its proof, which other readings put in doubt"))
        .stdout(predicate::str::contains("put in the first animals").not());
    log("event", at(17, 10), &["fish_added=2"]);
    let said = home.judged(&at(17, 11));
    assert!(said["advice"].as_array().unwrap().iter().all(|advice| {
        !advice["do"].as_str().unwrap().contains("prove it")
            && !advice["do"].as_str().unwrap().contains("dose")
    }));
}

#[test]
fn a_cold_tank_is_told_to_warm_up() {
    let home = Home::new();
    home.import("tank_040", &ALL);
    let said = home.judged(&now_of("tank_040"));
    assert_eq!(said["stage"], "stalled");
    assert_eq!(said["stall_cause"], "cold");
    assert!(said["advice"][0]["do"].as_str().unwrap().contains("heater"));
}

#[test]
fn a_planned_proof_says_dose_time_and_deciding_readings_with_cautions() {
    let home = Home::new();
    home.run(&["tank", "new", "--volume", "100", "--started-at", "2031-03-01"]).success();
    home.run(&["add", "--tank", "new", "--at", "2031-03-20T18:00:00+01:00", "ammonia=0", "nitrite=0"])
        .success();
    home.run(&["assess", "--tank", "new", "--at", "2031-03-20T19:00:00+01:00", "--plan-proof"])
        .success()
        .stdout(predicate::str::contains("2.0 mg/L ammonia: 0.63 g of ammonium chloride"))
        .stdout(predicate::str::contains("2031-03-21 19:00"))
        .stdout(predicate::str::contains("nitrate has risen"))
        .stdout(predicate::str::contains("gloves"));
}

#[test]
fn with_animals_no_ammonia_is_ever_advised() {
    let home = Home::new();
    home.run(&["tank", "stocked", "--volume", "100"]).success();
    home.run(&["event", "--tank", "stocked", "--at", "2031-03-01T10:00:00+01:00", "fish_added=4"]).success();
    for (day, ammonia) in [(3, "1.0"), (5, "2.0")] {
        let at = format!("2031-03-0{day}T18:00:00+01:00");
        let ammonia = format!("ammonia={ammonia}");
        home.run(&["add", "--tank", "stocked", "--at", &at, &ammonia, "nitrite=1", "ph=8.2"]).success();
    }
    let at = "2031-03-05T19:00:00+01:00";
    let said = home.judged(at);
    assert_eq!(said["ready"], false);
    let advice = said["advice"].as_array().unwrap();
    assert!(advice[0]["do"].as_str().unwrap().contains("change water now"), "{advice:?}");
    assert!(advice[0]["amount"].as_str().unwrap().contains("litres"), "{advice:?}");
    for line in advice {
        assert!(!line["do"].as_str().unwrap().contains("dose ammonia"), "{line}");
    }
    home.run(&["assess", "--at", at, "--plan-proof"])
        .success()
        .stdout(predicate::str::contains("dose no ammonia, ever"))
        .stdout(predicate::str::contains("harmful"));
}

/// Nothing in the log tells whether animals live in the tank: it is asked for first, and to dose is said with an if.
#[test]
fn where_nothing_tells_of_animals_it_is_asked_before_ammonia_is_dosed() {
    let home = Home::new();
    home.run(&["add", "--tank", "hall", "--at", "2031-03-04T18:00:00+01:00", "ammonia=0.25", "nitrite=0"])
        .success();
    let at = "2031-03-05T19:00:00+01:00";
    let first_and_dose = |home: &Home| {
        let said = home.judged(at);
        let advice = said["advice"].as_array().unwrap().clone();
        let action = |line: &Value| line["do"].as_str().unwrap().to_owned();
        let dose = advice.iter().map(action).find(|action| action.contains("dose ammonia"));
        (action(&advice[0]), dose)
    };
    let (first, dose) = first_and_dose(&home);
    assert!(first.starts_with("say what lives in the tank"), "{first}");
    assert!(dose.unwrap().starts_with("if no animal lives in the tank"));
    home.run(&["tank", "hall", "--ammonia-source", "ammonium chloride"]).success();
    let (first, dose) = first_and_dose(&home);
    assert_eq!(Some(first), dose, "nothing stands before it now");
    home.run(&["event", "--tank", "hall", "--at", "2031-03-05T10:00:00+01:00", "fish_added=3"]).success();
    assert_eq!(first_and_dose(&home).1, None);
    home.run(&["event", "--tank", "hall", "--at", "2031-03-05T11:00:00+01:00", "fish_added=-3"]).success();
    assert!(first_and_dose(&home).1.is_some(), "all were moved out");
    home.run(&["event", "--tank", "hall", "food=-3"])
        .failure()
        .stderr(predicate::str::contains("below zero"));
}

fn not_shown(said: &Value) {
    assert_eq!(said["ready"], false, "{said}");
    assert_eq!(said["proof"], "not_shown", "{said}");
    assert!(!said["advice"].as_array().unwrap().is_empty());
}

#[test]
fn one_reading_in_all_shows_nothing() {
    let home = Home::new();
    home.run(&["add", "--tank", "t", "--at", "2031-03-05T18:00:00+01:00", "ammonia=0"]).success();
    let said = home.judged("2031-03-05T19:00:00+01:00");
    not_shown(&said);
    assert_eq!(said["ready_on"], Value::Null);
}

#[test]
fn a_tank_with_facts_alone_shows_nothing_and_is_told_to_test() {
    let home = Home::new();
    home.run(&["tank", "t", "--volume", "80"]).success();
    let said = home.judged("2031-03-05T19:00:00+01:00");
    not_shown(&said);
    assert!(said["advice"].to_string().contains("test ammonia"));
}

#[test]
fn two_zero_readings_without_a_dose_are_no_proof() {
    let home = Home::new();
    for day in 1..9 {
        let at = format!("2031-03-0{day}T18:00:00+01:00");
        home.run(&["add", "--tank", "t", "--at", &at, "ammonia=0", "nitrite=0"]).success();
    }
    not_shown(&home.judged("2031-03-09T19:00:00+01:00"));
}

#[test]
fn one_analyte_alone_is_no_proof_even_after_doses() {
    let home = Home::new();
    for day in 1..9 {
        let (dosed, tested) =
            (format!("2031-03-0{day}T18:00:00+01:00"), format!("2031-03-0{day}T17:00:00+01:00"));
        home.run(&["add", "--tank", "t", "--at", &tested, "ammonia=0"]).success();
        home.run(&["event", "--tank", "t", "--at", &dosed, "ammonia_dose=2"]).success();
    }
    not_shown(&home.judged("2031-03-09T19:00:00+01:00"));
}

#[test]
fn a_dose_that_vanished_without_nitrate_is_not_passed() {
    let home = Home::new();
    home.import("tank_016", &ALL);
    let said = home.judged(&now_of("tank_016"));
    assert_eq!(said["proof"], "failed");
    assert_eq!(said["stage"], "none");
}

#[test]
fn readings_out_of_order_are_judged_like_those_in_order() {
    let (forward, backward) = (Home::new(), Home::new());
    let days = ["1", "3", "5", "7"];
    let add = |home: &Home, day: &str| {
        let at = format!("2031-03-0{day}T18:00:00+01:00");
        let ammonia = format!("ammonia={}", 3.0 - 0.4 * day.parse::<f64>().unwrap());
        home.run(&["add", "--tank", "t", "--at", &at, &ammonia, "nitrite=0.5"]).success();
    };
    days.iter().for_each(|day| add(&forward, day));
    days.iter().rev().for_each(|day| add(&backward, day));
    let at = "2031-03-08T19:00:00+01:00";
    assert_eq!(forward.judged(at), backward.judged(at));
}

#[test]
fn a_long_gap_after_a_passed_proof_is_not_ready() {
    let home = Home::new();
    home.import("tank_025", &ALL);
    let said = home.judged(&now_of("tank_025"));
    assert_eq!(said["proof"], "passed");
    assert_eq!(said["ready"], false);
    assert_eq!(said["stall_cause"], "starvation");
}

#[test]
fn the_same_log_gives_the_same_words() {
    let home = Home::new();
    home.import("tank_060", &ALL);
    let at = now_of("tank_060");
    let words = || home.run(&["assess", "--at", &at]).success().get_output().stdout.clone();
    assert_eq!(words(), words());
}

#[test]
fn an_unknown_tank_and_an_empty_log_say_how_to_begin() {
    let home = Home::new();
    home.run(&["assess"]).failure().code(2).stderr(predicate::str::contains("tintwell add"));
    home.run(&["add", "--tank", "t", "ammonia=1"]).success();
    home.run(&["assess", "--tank", "other"]).failure().code(2).stderr(predicate::str::contains("\"other\""));
    assert!(Path::new(home.0.path()).exists());
}
