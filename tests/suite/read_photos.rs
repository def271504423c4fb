//! The main job on real files: calibrate, verify and read rendered photos through the binary.
//!
//! All photos are rendered (`fixtures/README.md`); they show that the reader works, not how well it
//! reads any real kit.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;

use crate::support::home;
use crate::support::reading::file;

fn photos() -> PathBuf {
    file("")
}

fn tintwell(home: &Path) -> Command {
    let mut command = home::tintwell(home);
    command.current_dir(photos());
    command
}

fn home() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// Lines of JSON on standard output.
fn lines(command: &mut Command) -> Vec<Value> {
    let output = command.output().unwrap();
    String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn rows(table: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(photos().join(table)).unwrap().deserialize().map(Result::unwrap).collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn has_flag(line: &Value, flag: &str) -> bool {
    line["flags"].as_array().unwrap().contains(&Value::from(flag))
}

#[test]
fn a_chart_made_from_standards_reads_other_photos_of_its_kit() {
    let home = home();
    let made = tintwell(home.path())
        .args(["calibrate", "pond", "--standards", "ammonia_standards.csv"])
        .assert()
        .success();
    let report = String::from_utf8_lossy(&made.get_output().stdout).into_owned();
    assert!(report.contains("7 from 19 photos") && report.contains("Currie 1968"), "{report}");
    let figures = lines(tintwell(home.path()).args([
        "--json",
        "verify",
        "unknown.csv",
        "--chart",
        "pond",
        "--analyte",
        "ammonia",
    ]));
    let figures = &figures[0];
    assert_eq!(figures["photos"], 19);
    assert_eq!(figures["refused"], 0);
    assert_eq!(figures["silent_gross_errors"], 0);
    assert!(number(&figures["median_error_steps"]) <= 0.12, "{figures}");
    assert!(number(&figures["p95_error_steps"]) <= 0.5, "{figures}");
}

#[test]
fn every_shipped_chart_reads_its_kit_in_other_lights_and_phones() {
    let home = home();
    for (analyte, count) in [("nitrite", 20), ("nitrate", 7), ("ph", 12)] {
        let figures = lines(tintwell(home.path()).args([
            "--json",
            "verify",
            "unknown.csv",
            "--chart",
            &format!("rendered-{analyte}"),
            "--analyte",
            analyte,
        ]));
        let figures = &figures[0];
        assert_eq!(figures["photos"], count, "{figures}");
        assert_eq!(figures["refused"], 0, "{figures}");
        assert_eq!(figures["silent_gross_errors"], 0, "{figures}");
        assert!(number(&figures["median_error_steps"]) <= 0.12, "{figures}");
        assert!(number(&figures["coverage"]) >= 0.85, "{figures}");
    }
}

#[test]
fn a_colour_beyond_the_chart_is_never_given_a_number() {
    let home = home();
    for row in rows("off_scale.csv") {
        let chart = format!("rendered-{}", row["analyte"]);
        let read = lines(tintwell(home.path()).args([
            "--json",
            "read",
            "--dry-run",
            "--chart",
            &chart,
            &row["photo"],
        ]));
        assert_eq!(read[0]["status"], "above_range", "{}", read[0]);
        assert!(read[0]["value"].is_null() && read[0]["high"].is_null(), "{}", read[0]);
        assert!(number(&read[0]["low"]) <= row["value"].parse::<f64>().unwrap(), "{}", read[0]);
    }
}

/// What the reason of each refusal must speak of, by the photo's number.
const REASONS: [(&str, &str); 23] = [
    ("001", "no reference card"),
    ("002", "no reference card"),
    ("004", "2 of the card's four corner tags"),
    ("005", "window is empty"),
    ("006", "window is empty"),
    ("007", "blurred"),
    ("008", "blurred"),
    ("009", "overexposed"),
    ("010", "too dark"),
    ("012", "shadow"),
    ("014", "reflection"),
    ("015", "reflection"),
    ("016", "outside"),
    ("017", "more than one vial"),
    ("018", "more than one vial"),
    ("019", "not a Tintwell reference card"),
    ("020", "not a Tintwell reference card"),
    ("023", "black-and-white"),
    ("024", "none of chart"),
    ("025", "none of chart"),
    ("027", "text file"),
    ("028", "cut off"),
    ("029", "empty"),
];

#[test]
fn photos_that_will_not_do_are_refused_by_name() {
    let home = home();
    let reasons = BTreeMap::from(REASONS);
    for row in rows("refuse.csv") {
        let chart = format!("rendered-{}", row["analyte"]);
        let output = tintwell(home.path())
            .args(["--json", "read", "--dry-run", "--chart", &chart, &row["photo"]])
            .output()
            .unwrap();
        let line: Value = serde_json::from_slice(&output.stdout).unwrap();
        let key = &row["photo"]["refuse/".len().."refuse/".len() + 3];
        match reasons.get(key) {
            Some(expected) => {
                assert_eq!(line["status"], "refused", "{line}");
                let reason = line["reason"].as_str().unwrap();
                assert!(reason.contains(expected), "{}: {reason}", row["photo"]);
                assert!(line["value"].is_null() && line["low"].is_null() && line["high"].is_null());
                assert_eq!(output.status.code(), Some(2), "nothing could be read");
            }
            None => assert_eq!(row["expect"], "either", "{line}"),
        }
    }
}

#[test]
fn the_json_line_keeps_its_fields_in_their_order() {
    let home = home();
    let output = tintwell(home.path())
        .args(["--json", "read", "--dry-run", "--chart", "rendered-ammonia", "series/001.jpg"])
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let fields = [
        "photo", "status", "analyte", "value", "low", "high", "unit", "chart", "taken_at", "tank", "flags",
        "reason", "sample",
    ];
    let places: Vec<usize> =
        fields.iter().map(|field| text.find(&format!("\"{field}\":")).unwrap()).collect();
    assert!(places.windows(2).all(|pair| pair[0] < pair[1]), "{text}");
    let line: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(line["unit"], "mg/L NH3");
    assert_eq!(line["photo"], "series/001.jpg");
    assert!(line["tank"].is_null() && line["reason"].is_null());
    for side in ["x", "y", "width", "height"] {
        assert!(line["sample"][side].is_u64(), "{line}");
    }
}

#[test]
fn several_photos_are_all_tried_in_the_order_given() {
    let home = home();
    let output = tintwell(home.path())
        .args(["--json", "read", "--dry-run", "--chart", "rendered-ammonia"])
        .args(["refuse/029.jpg", "series/001.jpg", "refuse/005.jpg", "no-such.jpg"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let statuses: Vec<&str> = lines.iter().map(|line| line["status"].as_str().unwrap()).collect();
    assert_eq!(statuses, ["refused", "read", "refused", "refused"]);
    assert!(lines[0]["analyte"].is_null() && lines[3]["analyte"].is_null(), "refused as a whole");
}

#[test]
fn a_reading_under_a_tank_is_logged_once() {
    let home = home();
    let read = |extra: &[&str]| {
        let mut command = tintwell(home.path());
        command
            .args(["read", "--chart", "rendered-ammonia", "--tank", "hallway", "series/001.jpg"])
            .args(extra);
        command.assert().success();
    };
    read(&["--dry-run"]);
    assert_eq!(lines(tintwell(home.path()).args(["--json", "log"])).len(), 0);
    read(&[]);
    read(&[]);
    let log = lines(tintwell(home.path()).args(["--json", "log", "--tank", "hallway"]));
    assert_eq!(log.len(), 1, "{log:?}");
    assert_eq!((&log[0]["kind"], &log[0]["tank"]), (&Value::from("reading"), &Value::from("hallway")));
}

/// A table of standards with the given rows; photos are named relative to the fixtures.
fn table(folder: &Path, rows: &str) -> PathBuf {
    let path = folder.join("standards.csv");
    let rows = rows.replace("@", &format!("{}/ammonia_standards/", photos().display()));
    std::fs::write(&path, format!("photo,analyte,value\n{rows}")).unwrap();
    path
}

#[test]
fn tables_of_standards_that_make_no_chart_are_explained() {
    let cases = [
        ("@001.jpg,ammonia,0\n@nowhere.jpg,ammonia,1\n", "line 3: there is no file"),
        ("@001.jpg,ammonia,0\n@001.jpg,ammonia,1\n", "was given in line 2 already"),
        ("@001.jpg,ammonia,lots\n", "\"lots\" is not a number"),
        ("@001.jpg,ammonia,NaN\n", "\"NaN\" is not a number"),
        ("@001.jpg,copper,1\n", "unknown analyte"),
        ("@001.jpg,ammonia,0\n@004.jpg,ammonia,0.25\n", "only 2 different levels"),
        ("", "there is no row"),
    ];
    for (rows, expected) in cases {
        let home = home();
        let table = table(home.path(), rows);
        let output =
            tintwell(home.path()).args(["calibrate", "x", "--standards"]).arg(table).output().unwrap();
        let message = String::from_utf8(output.stderr).unwrap();
        assert!(message.contains(expected), "{expected}: {message}");
        assert_eq!(output.status.code(), Some(2));
    }
}

#[test]
fn swapped_standards_are_noticed() {
    let home = home();
    let swapped = "@001.jpg,ammonia,0\n@004.jpg,ammonia,0.25\n@007.jpg,ammonia,4\n@010.jpg,ammonia,1\n@012.jpg,ammonia,2\n@014.jpg,ammonia,0.5\n@017.jpg,ammonia,8\n";
    let table = table(home.path(), swapped);
    let output = tintwell(home.path()).args(["calibrate", "x", "--standards"]).arg(table).output().unwrap();
    let message = String::from_utf8(output.stderr).unwrap();
    assert!(message.contains("turn back at"), "{message}");
}

#[test]
fn unusable_charts_are_explained() {
    let home = home();
    let chart = home.path().join("chart.json");
    let cases = [
        ("{\"format\":\"tintwell chart\",\"version\":99}", "later version"),
        ("{\"format\":\"tintwell chart\",\"version\":1}", "not a usable chart"),
        ("not json", "not a usable chart"),
        ("{\"format\":\"other\"}", "not a usable chart"),
    ];
    for (text, expected) in cases {
        std::fs::write(&chart, text).unwrap();
        let output =
            tintwell(home.path()).args(["read", "series/001.jpg", "--chart"]).arg(&chart).output().unwrap();
        let message = String::from_utf8(output.stderr).unwrap();
        assert!(message.contains(expected) && message.contains("chart.json"), "{message}");
        assert_eq!(output.status.code(), Some(2));
    }
    let output =
        tintwell(home.path()).args(["read", "series/001.jpg", "--chart", "nowhere"]).output().unwrap();
    let message = String::from_utf8(output.stderr).unwrap();
    assert!(message.contains("no chart \"nowhere\"") && message.contains("rendered-ammonia"), "{message}");
}

#[test]
fn the_same_photo_gives_the_same_line_every_time() {
    let home = home();
    let once = || {
        tintwell(home.path())
            .args([
                "--json",
                "read",
                "--dry-run",
                "--chart",
                "rendered-ph",
                "ph_unknown/005.jpg",
                "ph_unknown/006.jpg",
            ])
            .output()
            .unwrap()
            .stdout
    };
    assert_eq!(once(), once());
}

#[test]
fn a_reader_that_closes_the_pipe_is_no_failure() {
    let home = home();
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .arg("--home")
        .arg(home.path())
        .args(["read", "--dry-run", "--chart", "rendered-ammonia", "series/001.jpg", "series/004.jpg"])
        .current_dir(photos())
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_soft_photo_is_flagged_and_a_sharp_one_is_not() {
    let home = home();
    let sharp = photos().join("series/001.jpg");
    let soft = home.path().join("soft.png");
    image::open(&sharp).unwrap().blur(7.0).save(&soft).unwrap();
    let read = lines(
        tintwell(home.path())
            .args(["--json", "read", "--dry-run", "--chart", "rendered-ammonia"])
            .args([&sharp, &soft]),
    );
    assert!(!has_flag(&read[0], "blurred"), "{}", read[0]);
    assert!(read[1]["status"] == "refused" || has_flag(&read[1], "blurred"), "{}", read[1]);
}

#[test]
fn a_photo_without_a_time_is_told_of_and_stops_no_other() {
    let home = home();
    let output = tintwell(home.path())
        .args(["--json", "read", "--chart", "rendered-nitrite", "--tank", "hallway"])
        .args(["series/008.jpg", "series/005.jpg"])
        .output()
        .unwrap();
    assert!(String::from_utf8_lossy(&output.stderr).contains("series/008.jpg: the photo does not say when"));
    assert_eq!(String::from_utf8_lossy(&output.stdout).lines().count(), 2, "both photos are read");
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(lines(tintwell(home.path()).args(["--json", "log"])).len(), 1, "the dated one is logged");
}

/// Rendered: the first in the light of the chart's own photos, the second under an incandescent lamp.
#[test]
fn light_unlike_the_charts_is_flagged() {
    let home = home();
    let read = lines(
        tintwell(home.path())
            .args(["--json", "read", "--dry-run", "--chart", "rendered-nitrite"])
            .args(["001.jpg", "008.jpg"].map(|photo| photos().join("nitrite_unknown").join(photo))),
    );
    assert!(!has_flag(&read[0], "unlike_chart"), "{}", read[0]);
    assert!(has_flag(&read[1], "unlike_chart"), "{}", read[1]);
}

#[test]
fn a_number_whose_interval_ends_with_the_chart_is_flagged_and_no_other() {
    let home = home();
    let unknown = (1..=11).map(|number| photos().join(format!("nitrite_unknown/{number:03}.jpg")));
    let read = lines(
        tintwell(home.path())
            .args(["--json", "read", "--dry-run", "--chart", "rendered-nitrite"])
            .args(unknown.filter(|photo| photo.is_file())),
    );
    let ends = |line: &Value| line["status"] == "read" && number(&line["high"]) == 5.0;
    assert!(read.iter().any(ends) && !read.iter().all(ends));
    for line in &read {
        assert_eq!(has_flag(line, "above_chart"), ends(line), "{line}");
    }
}

#[test]
fn a_time_that_is_told_leaves_no_doubt_of_it() {
    let home = home();
    let read = |more: &[&str]| {
        let mut command = tintwell(home.path());
        command.args([
            "--json",
            "read",
            "--dry-run",
            "--chart",
            "rendered-nitrite",
            "nitrite_unknown/003.jpg",
        ]);
        lines(command.args(more)).remove(0)
    };
    let asked = read(&[]);
    assert!(has_flag(&asked, "time_zone_unknown"), "{asked}");
    let told = read(&["--at", "2031-02-03T18:00:00+01:00"]);
    assert!(!has_flag(&told, "time_zone_unknown"), "{told}");
    assert_eq!(told["taken_at"], "2031-02-03T18:00:00+01:00");
}
