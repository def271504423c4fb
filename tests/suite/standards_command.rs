//! `standards` through the command.

use approx::assert_relative_eq;
use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;

use crate::support::home::tintwell;
use crate::support::reading::file;

fn standards(arguments: &str) -> Command {
    let mut command = tintwell("unused");
    command.arg("standards").args(arguments.split(' '));
    command
}

fn json(arguments: &str) -> Value {
    let output = standards(&format!("{arguments} --json")).assert().success();
    let text = String::from_utf8(output.get_output().stdout.clone()).unwrap();
    assert_eq!(text.lines().count(), 1, "one object a line");
    serde_json::from_str(&text).unwrap()
}

fn levels(recipe: &Value, field: &str) -> Vec<f64> {
    recipe["levels"].as_array().unwrap().iter().map(|level| level[field].as_f64().unwrap_or(0.0)).collect()
}

/// 101.10 g of potassium nitrate hold 62.004 g of nitrate (IUPAC weights): 1.6305 g a litre is 1 g/L NO3.
#[test]
fn a_nitrate_series_follows_the_molar_masses() {
    let recipe = json("nitrate --purity 100 --stock-volume 1000 --levels 0,40,80");
    assert_relative_eq!(recipe["mass_g"].as_f64().unwrap(), 1.63, epsilon = 1e-9);
    let stock = recipe["stock"]["concentration"].as_f64().unwrap();
    assert_relative_eq!(stock, 1.63 * 62.004 / 101.10 * 1000.0, max_relative = 1e-4);
    for (made, take) in levels(&recipe, "made").iter().zip(levels(&recipe, "take_ml")) {
        assert_relative_eq!(*made, stock * take / 100.0, max_relative = 1e-12);
    }
}

/// The same solution in another unit: NO3 to N is 0.22590 (CCME prints 13 mg/L NO3 as 3.0 mg/L N).
#[test]
fn units_only_rename_the_same_solution() {
    let (as_ion, as_n) =
        (json("nitrate --levels 44.2664 --stock 1000"), json("nitrate --levels 10 --stock 225.90 --unit N"));
    assert_eq!(as_ion["mass_g"], as_n["mass_g"]);
    assert_eq!(levels(&as_ion, "take_ml"), levels(&as_n, "take_ml"));
    assert_relative_eq!(levels(&as_ion, "made")[0] * 0.22590, levels(&as_n, "made")[0], max_relative = 1e-4);
}

#[test]
fn small_volumes_get_a_second_dilution_and_every_series_gets_cautions() {
    standards("nitrite")
        .assert()
        .success()
        .stdout(
            contains("Working solution")
                .and(contains("never pipette by mouth"))
                .and(contains("toxic if swallowed")),
        )
        .stdout(contains("common practice, no source"));
}

#[test]
fn a_better_scale_makes_better_standards() {
    let uncertainty = |step: &str| {
        let recipe = json(&format!("ammonia --scale-step {step} --levels 4"));
        recipe["stock"]["relative_standard_uncertainty"].as_f64().unwrap()
    };
    assert!(uncertainty("0.001") < uncertainty("0.01"));
    assert!(uncertainty("0.01") < uncertainty("0.05"));
}

#[test]
fn buffers_are_mixed_of_two_stocks() {
    let recipe = json("ph --levels 6.4,7.0,7.6");
    for (asked, made) in levels(&recipe, "wanted").iter().zip(levels(&recipe, "made")) {
        assert!((asked - made).abs() < 0.02, "{asked} {made}");
    }
    standards("ph").assert().success().stdout(contains("acid stock"));
}

#[test]
fn a_standard_addition_is_planned_and_evaluated() {
    standards("nitrate --addition 80 --expected 10")
        .assert()
        .success()
        .stdout(contains("80 mL of the tank's water").and(contains("--addition 80 --evaluate 0=READING,")));
    let found = json("nitrate --addition 80 --evaluate 0=8.1,5=12.0,10=15.5,20=23.0");
    let number = |field: &str| found[field].as_f64().unwrap();
    // Recomputed with numpy.polyfit: b0 8.16, b1 0.74171429.
    assert_relative_eq!(number("value"), 8.16 / 0.74171429 / 0.8, max_relative = 1e-7);
    assert_relative_eq!(number("direct"), 8.1 / 0.8, max_relative = 1e-9);
    assert!(number("low") < number("value") && number("value") < number("high"));
    assert_eq!(found["disturbed"], true);
}

#[test]
fn a_table_for_calibrate_holds_what_is_really_made_in_default_units() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("standards.csv");
    let mut command = standards("nitrate --unit N --levels 0,10 --table");
    command.arg(&path).assert().success();
    let mut table = csv::Reader::from_path(&path).unwrap();
    assert_eq!(table.headers().unwrap(), ["photo", "analyte", "value", "uncertainty_percent"].as_slice());
    let rows: Vec<_> = table.records().map(Result::unwrap).collect();
    assert_eq!((&rows[0][2], &rows[0][3]), ("0", "0"));
    // 10 mg/L N is 44.27 mg/L NO3; mass and marks are rounded, by less than 2 %.
    assert_relative_eq!(rows[1][2].parse::<f64>().unwrap(), 44.27, max_relative = 0.02);
    assert!((1.0..5.0).contains(&rows[1][3].parse::<f64>().unwrap()));
    let mut again = standards("nitrate --table");
    again.arg(&path).assert().code(2).stderr(contains("name a new file"));
}

/// The whole way: recipe and table, photos (rendered standards of ammonia) beside it, chart, reading. The
/// recipe's levels differ from the rendered ones by what scale and syringe round; their names are taken.
#[test]
fn the_recipes_uncertainty_arrives_in_the_chart_and_widens_readings() {
    let folder = tempfile::tempdir().unwrap();
    let photos = file("");
    let known: Vec<(String, f64)> = csv::Reader::from_path(photos.join("ammonia_standards.csv"))
        .unwrap()
        .records()
        .map(|row| row.unwrap())
        .map(|row| (photos.join(&row[0]).display().to_string(), row[2].parse().unwrap()))
        .collect();
    let mut low: Vec<f64> = known.iter().map(|(_, value)| *value).collect();
    low.sort_by(f64::total_cmp);
    low.dedup();
    let wanted = low.iter().map(f64::to_string).collect::<Vec<_>>().join(",");
    let chart = |name: &str, ware: &str| -> (Value, Value) {
        let empty = folder.path().join(format!("{name}-empty.csv"));
        standards(&format!("ammonia --levels {wanted} {ware} --table")).arg(&empty).assert().success();
        let mixed: Vec<csv::StringRecord> =
            csv::Reader::from_path(&empty).unwrap().records().map(Result::unwrap).collect();
        assert_eq!(mixed.len(), low.len());
        let rows: String = known
            .iter()
            .map(|(photo, value)| {
                let level = &mixed[low.iter().position(|own| own == value).unwrap()];
                format!("{photo},{},{},{}\n", &level[1], &level[2], &level[3])
            })
            .collect();
        let table = folder.path().join(format!("{name}.csv"));
        std::fs::write(&table, format!("photo,analyte,value,uncertainty_percent\n{rows}")).unwrap();
        let out = folder.path().join(format!("{name}.json")).display().to_string();
        let mut command = tintwell("unused");
        command.args(["calibrate", name, "--out", &out, "--standards"]).arg(&table);
        command.assert().success();
        for (k, level) in mixed.iter().enumerate() {
            let kept: Value = serde_json::from_slice(&std::fs::read(&out).unwrap()).unwrap();
            let kept = &kept["scales"][0]["levels"][k];
            assert_relative_eq!(kept["value"].as_f64().unwrap(), level[2].parse::<f64>().unwrap());
            let percent: f64 = level[3].parse().unwrap();
            assert_relative_eq!(kept["uncertainty"].as_f64().unwrap(), percent / 100.0, epsilon = 1e-9);
        }
        let mut read = tintwell("unused");
        let photo = &known.iter().find(|(_, value)| *value == 2.0).unwrap().0;
        let read = read.args(["--json", "read", "--dry-run", "--chart", &out, photo]);
        let reading = serde_json::from_slice(&read.output().unwrap().stdout).unwrap();
        (serde_json::from_slice(&std::fs::read(&out).unwrap()).unwrap(), reading)
    };
    let (fine, sure) = chart("fine", "--scale-step 0.001 --flask-tolerance 0.2");
    let (coarse, doubted) = chart("coarse", "--scale-step 0.05 --flask-tolerance 8");
    let uncertainty = |chart: &Value| chart["scales"][0]["levels"][4]["uncertainty"].as_f64().unwrap();
    assert!(uncertainty(&coarse) > 2.0 * uncertainty(&fine), "{coarse}");
    let width = |line: &Value| line["high"].as_f64().unwrap() - line["low"].as_f64().unwrap();
    // In quadrature, as the GUM adds variances (JCGM 100:2008, 5.1.2); a quarter is left to the fit.
    let added = 2.0 * 1.96 * 2.0 * (uncertainty(&coarse).powi(2) - uncertainty(&fine).powi(2)).sqrt();
    let expected = width(&sure).hypot(added);
    assert!((width(&doubted) / expected - 1.0).abs() < 0.25, "{sure} {doubted} {expected}");
    assert!(width(&doubted) > width(&sure), "{sure} {doubted}");
}

#[test]
fn what_cannot_be_mixed_is_refused_with_the_mend() {
    let cases = [
        ("temperature", "use ammonia, nitrite, nitrate, alkalinity or ph"),
        ("ammonia --salt sodium-nitrite", "use ammonium-chloride or ammonium-sulfate"),
        ("ammonia --salt rock-salt", "no such salt"),
        ("ammonia --unit NO3", "is not measured in"),
        ("ammonia --levels 600 --stock 1000", "stronger stock"),
        ("ammonia --stock 1", "--stock-volume, --stock"),
        ("nitrate --addition 99 --expected 500", "do not fit into 100 mL"),
        ("nitrate --expected 5", "--addition"),
        ("nitrate --addition 50", "--expected VALUE"),
        ("ph --levels 9", "a phosphate buffer holds"),
        ("ph --addition 5", "no standard addition of pH"),
        ("nitrate --syringe 1", "CAPACITY:GRADUATION"),
        ("nitrate --addition 50 --evaluate 0=8,5", "RISE=READING"),
    ];
    for (arguments, words) in cases {
        standards(arguments).assert().code(2).stderr(contains(words)).stdout("");
    }
}
