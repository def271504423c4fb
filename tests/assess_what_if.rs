//! `assess --what-if` on a simulated history, through the binary.

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

/// A home that holds one simulated tank, and the moment to judge it at.
fn home_with(tank: &str) -> (tempfile::TempDir, String) {
    let home = tempfile::tempdir().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles").join(tank);
    let files = ["tank.json", "readings.csv", "events.csv"].map(|name| folder.join(name));
    tintwell(&home).arg("import").args(&files).assert().success();
    let now = std::fs::read_to_string(folder.join("now.txt")).unwrap().trim().to_owned();
    (home, now)
}

fn tintwell(home: &tempfile::TempDir) -> Command {
    let mut command = Command::cargo_bin("tintwell").unwrap();
    command.arg("--home").arg(home.path());
    command
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

/// Days later as a line of words tells them: low bound, middle and high bound; none if it tells of no difference.
fn told(line: &str) -> Option<[f64; 3]> {
    if line.ends_with("no difference to speak of") {
        return None;
    }
    let (_, told) = line.split_once(": about ").unwrap();
    let (days, rest) = told.split_once(" days ").unwrap();
    let (word, bounds) = rest.split_once(" (80 %: ").unwrap();
    let (near, far) = bounds.strip_suffix(')').unwrap().split_once(" to ").unwrap();
    let [days, near, far] = [days, near, far].map(|number| number.parse::<f64>().unwrap());
    Some(match word {
        "earlier" => [-far, -days, -near],
        "later" => [near, days, far],
        other => panic!("{other}"),
    })
}

/// Tank 011 is young, 060 is nearly ready, 021 has fish in.
#[test]
fn words_and_json_tell_the_same_days_and_bounds() {
    for tank in ["tank_011", "tank_060", "tank_021"] {
        let (home, now) = home_with(tank);
        let words = output(&home, &["assess", "--what-if", "--at", &now]);
        let json = output(&home, &["--json", "assess", "--what-if", "--at", &now]);
        let line: Value = serde_json::from_str(json.trim()).unwrap();
        let rows = line["what_if"].as_array().unwrap();
        assert!(rows.len() >= 4, "{json}");
        for row in rows {
            let exact = ["days_later_low", "days_later", "days_later_high"].map(|key| row[key].as_f64().unwrap());
            let action = row["action"].as_str().unwrap();
            let is_its = |line: &&str| line.strip_prefix("- ").is_some_and(|line| line.starts_with(action));
            let line = words.lines().find(is_its).unwrap_or_else(|| panic!("{action} is missing: {words}"));
            match told(line) {
                Some(told) => {
                    let apart = told.iter().zip(&exact).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                    assert!(apart <= 0.5, "{line}: {exact:?}");
                }
                None => assert!(exact.iter().all(|days| days.abs() < 1.5), "{line}: {exact:?}"),
            }
        }
    }
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
