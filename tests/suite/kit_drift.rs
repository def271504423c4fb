//! A kit that drifts, on rendered photos through the command: checks with known standards go to the
//! log, and readings after a check beyond the action limits are flagged.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use serde_json::Value;

use crate::support::home;
use crate::support::reading::file;

fn photos() -> PathBuf {
    file("strip_unknown")
}

fn tintwell(home: &Path) -> Command {
    let mut command = home::tintwell(home);
    command.current_dir(photos());
    command
}

/// A copy of the rendered strip's chart in the home folder, with other facts.
fn own_chart(home: &Path, change: impl Fn(&mut Value)) {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/rendered-strip.json");
    let mut chart: Value = serde_json::from_slice(&std::fs::read(shipped).unwrap()).unwrap();
    chart["name"] = "kit".into();
    chart.as_object_mut().unwrap().remove("made_on");
    change(&mut chart);
    let folder = home.join("calibration");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("kit.json"), chart.to_string()).unwrap();
}

/// A table that claims values for one photo's ammonia and pH pads; rendered as 1.8 mg/L and pH 7.03.
fn table(home: &Path, ammonia: f64) -> PathBuf {
    std::fs::copy(photos().join("004.jpg"), home.join("004.jpg")).unwrap();
    let table = home.join("checks.csv");
    std::fs::write(&table, format!("photo,analyte,value\n004.jpg,ammonia,{ammonia}\n004.jpg,ph,7.0\n"))
        .unwrap();
    table
}

fn flags(home: &Path, at: &str) -> Vec<(String, String)> {
    let output = tintwell(home)
        .args(["--json", "read", "--dry-run", "--chart", "kit", "--at", at, "004.jpg"])
        .output()
        .unwrap();
    let lines = String::from_utf8(output.stdout).unwrap();
    assert_eq!(lines.lines().count(), 4, "{}", String::from_utf8_lossy(&output.stderr));
    let lines = lines.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.map(|line| (line["analyte"].as_str().unwrap().to_owned(), line["flags"].to_string())).collect()
}

#[test]
fn readings_after_a_check_beyond_the_action_limits_are_flagged_for_that_analyte_alone() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let table = table(home.path(), 6.0);
    let verify = || tintwell(home.path()).args(["verify", "--chart", "kit", "--log"]).arg(&table).assert();
    verify().success().stderr(contains("2 of 2 checks are new")).stderr(contains("action limits"));
    verify().success().stderr(contains("0 of 2 checks are new"));
    for (analyte, flags) in flags(home.path(), "2031-03-01T12:00:00+00:00") {
        assert_eq!(flags.contains("kit_drifted"), analyte == "ammonia", "{analyte}: {flags}");
    }
    for (analyte, flags) in flags(home.path(), "2031-01-01T12:00:00+00:00") {
        assert!(!flags.contains("kit_drifted"), "before the check, {analyte}: {flags}");
    }
}

#[test]
fn a_kit_that_reads_its_standards_right_is_not_flagged() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let table = table(home.path(), 1.8);
    tintwell(home.path()).args(["verify", "--chart", "kit", "--log"]).arg(&table).assert().success();
    assert!(flags(home.path(), "2031-03-01T12:00:00+00:00").iter().all(|(_, f)| !f.contains("kit_drifted")));
}

#[test]
fn a_chart_made_anew_after_the_check_is_trusted_again() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let table = table(home.path(), 6.0);
    tintwell(home.path()).args(["verify", "--chart", "kit", "--log"]).arg(&table).assert().success();
    let drifted = || {
        let all = flags(home.path(), "2031-03-01T12:00:00+00:00");
        all.iter().any(|(_, flags)| flags.contains("kit_drifted"))
    };
    assert!(drifted());
    own_chart(home.path(), |chart| chart["history"][0]["at"] = "2199-01-01T00:00:00Z".into());
    assert!(!drifted());
    // A chart file from before histories were kept tells only the day.
    own_chart(home.path(), |chart| {
        chart.as_object_mut().unwrap().remove("history");
        chart["made_on"] = "2031-02-25".into();
    });
    assert!(!drifted());
}

#[test]
fn readings_after_the_charts_expiry_are_flagged() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |chart| chart["expires"] = "2031-02-28".into());
    assert!(flags(home.path(), "2031-03-01T12:00:00+00:00").iter().all(|(_, f)| f.contains("chart_expired")));
    assert!(
        flags(home.path(), "2031-02-28T12:00:00+00:00").iter().all(|(_, f)| !f.contains("chart_expired"))
    );
}

#[test]
fn without_a_chart_named_the_only_one_that_fits_is_taken_and_two_that_fit_are_named() {
    let home = tempfile::tempdir().unwrap();
    let read = || tintwell(home.path()).args(["--json", "read", "--dry-run", "004.jpg"]).output().unwrap();
    let none = read();
    assert_eq!(none.status.code(), Some(2));
    assert!(String::from_utf8(none.stderr).unwrap().contains("no chart of your own"));
    own_chart(home.path(), |_| {});
    let one = String::from_utf8(read().stdout).unwrap();
    assert_eq!(one.matches("\"chart\":\"kit\"").count(), 4, "{one}");
    own_chart(home.path(), |chart| chart["name"] = "twin".into());
    std::fs::rename(home.path().join("calibration/kit.json"), home.path().join("calibration/twin.json"))
        .unwrap();
    own_chart(home.path(), |_| {});
    let two = String::from_utf8(read().stdout).unwrap();
    assert!(two.contains("\"refused\"") && two.contains("kit, twin"), "{two}");
}

/// The control chart is shown with its limits, its last check and the rule met; see `chart/control.rs`.
#[test]
fn the_control_chart_is_shown_in_words_and_as_json() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let table = table(home.path(), 6.0);
    let output = tintwell(home.path())
        .args(["--json", "verify", "--chart", "kit", "--log"])
        .arg(&table)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let ammonia = lines
        .iter()
        .find(|line| line["control_chart"] == "kit" && line["analyte"] == "ammonia")
        .unwrap_or_else(|| panic!("{text}"));
    assert_eq!(ammonia["state"], "out_of_control", "{ammonia}");
    assert_eq!(ammonia["rules"][0]["rule"], "beyond_action");
    assert_eq!(ammonia["action_limits"], serde_json::json!([-3.0, 3.0]));
    let ph = lines.iter().find(|line| line["control_chart"] == "kit" && line["analyte"] == "ph").unwrap();
    assert_eq!(ph["state"], "in_control", "{ph}");
    tintwell(home.path())
        .args(["verify", "--chart", "kit", "--log"])
        .arg(&table)
        .assert()
        .stdout(contains("Control chart of kit, ammonia: 1 check,").and(contains("action limits")));
}

/// Made anew after the check was logged, even on the same day, a chart starts with a clean slate.
#[test]
fn a_chart_made_anew_on_the_day_of_the_check_is_trusted_again() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let table = table(home.path(), 6.0);
    tintwell(home.path()).args(["verify", "--chart", "kit", "--log"]).arg(&table).assert().success();
    let made =
        |at: &str, step: &str| serde_json::json!([{"revision": 2, "at": at, "step": step, "photos": []}]);
    own_chart(home.path(), |chart| chart["history"] = made("2000-01-01T00:00:00+00:00", "made"));
    let drifted = |home: &Path| {
        flags(home, "2031-03-01T12:00:00+00:00").iter().any(|(_, flags)| flags.contains("kit_drifted"))
    };
    assert!(drifted(home.path()), "made before the check");
    own_chart(home.path(), |chart| chart["history"] = made("2999-01-01T00:00:00+00:00", "added"));
    assert!(drifted(home.path()), "adding a standard does not make it anew");
    own_chart(home.path(), |chart| chart["history"] = made("2999-01-01T00:00:00+00:00", "made"));
    assert!(!drifted(home.path()), "made after the check");
}

/// Checks are shown by `log checks`, and stay out of the readings and events that `log` lists.
#[test]
fn the_log_shows_control_charts_and_keeps_checks_out_of_the_tanks() {
    let home = tempfile::tempdir().unwrap();
    own_chart(home.path(), |_| {});
    let none = tintwell(home.path()).args(["log", "checks"]).assert().success().stdout("");
    none.stderr(contains("verify --chart NAME --log"));
    let table = table(home.path(), 6.0);
    let mut verify = tintwell(home.path());
    verify.args(["verify", "--chart", "kit", "--log", "--tank", "hallway"]).arg(&table);
    verify.assert().code(2).stderr(contains("a check is of a kit, not of a tank"));
    tintwell(home.path()).args(["verify", "--chart", "kit", "--log"]).arg(&table).assert().success();
    tintwell(home.path()).args(["--json", "log"]).assert().success().stdout("");
    let shown = tintwell(home.path()).args(["log", "checks"]).assert().success();
    let text = String::from_utf8(shown.get_output().stdout.clone()).unwrap();
    assert!(text.contains("one beyond zone A") && text.contains("out of control"), "{text}");
    assert!(text.lines().any(|line| line.contains("|   :       .       :   |")), "{text}");
    let one = tintwell(home.path())
        .args(["--json", "log", "checks", "--chart", "kit", "--analyte", "ammonia"])
        .output()
        .unwrap();
    let line: Value = serde_json::from_slice(&one.stdout).unwrap();
    assert_eq!((&line["control_chart"], &line["checks"]), (&"kit".into(), &1.into()));
    assert!(line["points"][0]["score"].as_f64().unwrap() < -3.0, "{line}");
    std::fs::remove_file(home.path().join("calibration/kit.json")).unwrap();
    tintwell(home.path()).args(["log", "checks"]).assert().success().stderr(contains("are left out"));
}
