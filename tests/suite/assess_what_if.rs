//! `assess --what-if` on a simulated history, through the binary.

use std::path::Path;

use serde_json::Value;

use crate::support::home::tintwell;

/// A home that holds one simulated tank, and the moment to judge it at.
fn home_with(tank: &str) -> (tempfile::TempDir, String) {
    let home = tempfile::tempdir().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles").join(tank);
    let files = ["tank.json", "readings.csv", "events.csv"].map(|name| folder.join(name));
    tintwell(&home).arg("import").args(&files).assert().success();
    let now = std::fs::read_to_string(folder.join("now.txt")).unwrap().trim().to_owned();
    (home, now)
}

fn output(home: &tempfile::TempDir, arguments: &[&str]) -> String {
    let output = tintwell(home).args(arguments).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn actions_are_compared_by_days_with_an_interval() {
    let (home, now) = home_with("tank_011");
    let text = output(&home, &["--json", "assess", "--what-if", "--tank", "tank_011", "--at", &now]);
    let line: Value = serde_json::from_str(text.trim()).unwrap();
    let compared = line["what_if"].as_array().unwrap();
    let medium =
        compared.iter().find(|row| row["action"].as_str().unwrap().contains("mature medium")).unwrap();
    let days = |key: &str| medium[key].as_f64().unwrap();
    assert!(days("days_later") < -3.0, "{medium}");
    assert!(days("days_later_low") <= days("days_later") && days("days_later") <= days("days_later_high"));
}

#[test]
fn the_comparison_is_left_out_of_the_json_unless_asked_for() {
    let (home, now) = home_with("tank_011");
    let text = output(&home, &["--json", "assess", "--at", &now]);
    assert!(!text.contains("what_if"));
}

#[test]
fn words_name_the_most_telling_test_and_cautions() {
    let (home, now) = home_with("tank_060");
    let text = output(&home, &["assess", "--what-if", "--at", &now]);
    assert!(text.contains("Most telling next") && text.contains("of the doubt about the date"), "{text}");
    assert!(text.contains("What if, today") && text.contains("Never with animals in the tank"), "{text}");
}

/// Tank 021 has fish in: nobody may be told to dose ammonia.
#[test]
fn with_fish_in_no_ammonia_dose_is_compared_or_recommended() {
    let (home, now) = home_with("tank_021");
    let text = output(&home, &["assess", "--what-if", "--at", &now]);
    let ours = &text[text.find("What if, today").unwrap()..];
    assert!(!ours.contains("dose ammonia to"), "{ours}");
}

/// What a keeper with fish waits for is low water, not a proof; a tank without fish is told of no such day.
#[test]
fn with_fish_in_the_day_is_told_from_which_on_the_water_stays_low() {
    let (home, now) = home_with("tank_021");
    let words = output(&home, &["assess", "--what-if", "--at", &now]);
    assert!(words.contains("As the animals are kept and fed now, ammonia"), "{words}");
    assert!(words.contains("(days until ammonia and nitrite stay below 0.25 mg/L"), "{words}");
    let json = output(&home, &["--json", "assess", "--what-if", "--at", &now]);
    assert!(json.contains(r#""until":"settling""#) && !json.contains(r#""until":"proof""#), "{json}");
    let (home, now) = home_with("tank_011");
    let words = output(&home, &["assess", "--what-if", "--at", &now]);
    assert!(!words.contains("animals are kept"), "{words}");
    assert!(words.contains("(days until a proof would pass)"), "{words}");
}
