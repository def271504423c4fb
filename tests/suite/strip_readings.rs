//! Strips on rendered photos, through the command: a chart from standards, readings of unknowns, and a
//! strip that lies the other way round. Rendered photos prove nothing of a real kit.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use serde_json::Value;

use crate::support::home::tintwell;
use crate::support::pads::only_this_pad_is_refused;
use crate::support::reading::file;

const ORDER: [&str; 4] = ["nitrate", "nitrite", "ph", "ammonia"];

fn lines(arguments: &[&str]) -> Vec<Value> {
    let home = tempfile::tempdir().unwrap();
    let output = tintwell(&home).arg("--json").args(arguments).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A chart made once from the rendered standards; the folder is kept until the tests end.
fn chart() -> &'static str {
    static CHART: OnceLock<(tempfile::TempDir, String)> = OnceLock::new();
    let (_, path) = CHART.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("strip.json").display().to_string();
        let table = file("strip_standards").join("standards.csv").display().to_string();
        lines(&["calibrate", "strip", "--form", "strip", "--standards", &table, "--out", &out]);
        (folder, out)
    });
    path
}

fn read(photo: &Path) -> Vec<Value> {
    lines(&["read", "--dry-run", "--chart", chart(), &photo.display().to_string()])
}

/// The rendered strip is 76 mm long; its pads are squares of 5.0 mm, the first 2.5 mm from the tip, then
/// one each 6.6 mm.
#[test]
fn the_form_of_a_strip_is_learnt_from_its_photos() {
    let chart: Value = serde_json::from_slice(&std::fs::read(chart()).unwrap()).unwrap();
    let strip = &chart["strip"];
    let near = |value: &Value, expected: f64, tolerance: f64| {
        let value = value.as_f64().unwrap();
        assert!((value - expected).abs() <= tolerance, "{value} for {expected}: {strip}");
    };
    near(&strip["length_mm"], 76.0, 0.6);
    near(&strip["width_mm"], 5.4, 0.5);
    for (k, analyte) in ORDER.iter().enumerate() {
        assert_eq!(strip["pads"][k]["analyte"], *analyte);
        near(&strip["pads"][k]["centre_mm"], 5.0 + 6.6 * k as f64, 0.3);
        near(&strip["pads"][k]["size_mm"], 5.0, 0.3);
    }
}

#[test]
fn every_pad_of_an_unknown_strip_gets_its_own_reading_in_the_order_of_the_pads() {
    let sightings = read(&file("strip_unknown").join("004.jpg"));
    let analytes: Vec<&str> = sightings.iter().map(|line| line["analyte"].as_str().unwrap()).collect();
    assert_eq!(analytes, ORDER);
    assert!(sightings.iter().all(|line| line["status"] != "refused" && line["sample"].is_object()));
    assert!(sightings.iter().all(|line| !line["flags"].to_string().contains("strip_reversed")));
}

#[test]
fn a_strip_the_other_way_round_is_read_in_the_same_order_and_flagged() {
    let sightings = read(&file("strip_unknown").join("reversed.jpg"));
    let analytes: Vec<&str> = sightings.iter().map(|line| line["analyte"].as_str().unwrap()).collect();
    assert_eq!(analytes, ORDER);
    for line in &sightings {
        assert_ne!(line["status"], "refused", "{line}");
        assert!(line["flags"].to_string().contains("strip_reversed"), "{line}");
    }
    let tip = sightings[0]["sample"]["y"].as_u64().unwrap();
    assert!(tip > sightings[3]["sample"]["y"].as_u64().unwrap(), "the dipped end lies at the bottom");
}

/// What strips must reach on rendered photos of other lights and phones than the standards'.
#[test]
fn unknown_strips_are_read_within_a_step_or_the_interval_says_so() {
    let table = file("strip_unknown").join("known.csv").display().to_string();
    let figures = lines(&["verify", "--chart", chart(), &table]);
    assert_eq!(figures.len(), 4);
    for figure in figures {
        assert_eq!(figure["refused"], 0, "{figure}");
        assert_eq!(figure["silent_gross_errors"], 0, "{figure}");
        assert!(figure["median_error_steps"].as_f64().unwrap() <= 0.2, "{figure}");
    }
}

#[test]
fn a_window_without_a_strip_refuses_every_pad_and_says_what_to_do() {
    let home = tempfile::tempdir().unwrap();
    let card = home.path().join("card.png");
    let out = card.display().to_string();
    tintwell(&home).args(["card", "--out", &out, "--dpi", "150"]).assert().success();
    // A phone exposes paper below full scale.
    let mut picture = image::open(&card).unwrap().into_rgb8();
    picture.iter_mut().for_each(|value| *value = (f64::from(*value) * 0.85) as u8);
    picture.save(&card).unwrap();
    let sightings = read(&card);
    assert_eq!(sightings.len(), 4);
    for line in sightings {
        assert_eq!(line["status"], "refused");
        assert!(line["reason"].as_str().unwrap().contains("no strip lies"), "{line}");
    }
}

/// A rendered strip with one pad painted over: `paint` gets the pad's box and the picture.
fn painted(pad: usize, paint: impl Fn([u32; 4], &mut image::RgbImage)) -> (Vec<Value>, Vec<Value>) {
    let home = tempfile::tempdir().unwrap();
    let saved = home.path().join("painted.png");
    let mut picture = image::open(file("strip_unknown/004.jpg")).unwrap().into_rgb8();
    picture.save(&saved).unwrap();
    let before = read(&saved);
    let side = |name: &str| before[pad]["sample"][name].as_u64().unwrap() as u32;
    paint([side("x"), side("y"), side("width"), side("height")], &mut picture);
    picture.save(&saved).unwrap();
    (before, read(&saved))
}

#[test]
fn a_half_covered_pad_is_refused_alone() {
    let (before, after) = painted(3, |[x, y, width, height], picture| {
        for row in y..y + height {
            (x + width / 2..x + width)
                .for_each(|column| picture.put_pixel(column, row, image::Rgb([60, 50, 50])));
        }
    });
    only_this_pad_is_refused(&before, &after, 3, "half covered");
}

#[test]
fn a_missing_pad_is_refused_alone() {
    let (before, after) = painted(0, |[x, y, width, height], picture| {
        // The bare strip between this pad and the tip.
        let bare = *picture.get_pixel(x + width / 2, y - height / 3);
        for row in y - 2..=y + height + 1 {
            (x - 1..=x + width).for_each(|column| picture.put_pixel(column, row, bare));
        }
    });
    only_this_pad_is_refused(&before, &after, 0, "missing");
}

/// Rows of the rendered standards with their pads numbered, in an order of their own.
fn numbered_table(folder: &Path, number: impl Fn(usize) -> usize) -> PathBuf {
    let mut rows: Vec<String> = Vec::new();
    let mut table = csv::Reader::from_path(file("strip_standards").join("standards.csv")).unwrap();
    for (k, record) in table.records().map(Result::unwrap).enumerate() {
        let photo = file("strip_standards").join(&record[0]);
        rows.push(format!("{},{},{},{}", photo.display(), &record[1], &record[2], number(k % 4)));
    }
    rows.reverse();
    let file = folder.join("numbered.csv");
    std::fs::write(&file, format!("photo,analyte,value,pad\n{}\n", rows.join("\n"))).unwrap();
    file
}

fn calibrate(home: &Path, table: &Path, more: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = tintwell(home);
    command.args(["calibrate", "kit", "--form", "strip", "--standards"]).arg(table);
    command.args(more).assert()
}

#[test]
fn numbered_pads_may_stand_in_any_order_and_the_pads_found_are_drawn() {
    let home = tempfile::tempdir().unwrap();
    let table = numbered_table(home.path(), |k| k + 1);
    calibrate(home.path(), &table, &[]).success().stdout(predicates::str::contains("kit-found.png"));
    let chart: Value =
        serde_json::from_slice(&std::fs::read(home.path().join("calibration/kit.json")).unwrap()).unwrap();
    for (k, analyte) in ORDER.iter().enumerate() {
        assert_eq!(chart["strip"]["pads"][k]["analyte"], *analyte);
    }
    assert!(image::open(home.path().join("calibration/kit-found.png")).is_ok());
}

#[test]
fn pads_numbered_twice_or_a_form_of_other_pads_are_refused_with_the_mend() {
    let home = tempfile::tempdir().unwrap();
    let twice = numbered_table(home.path(), |k| k.max(1));
    calibrate(home.path(), &twice, &[]).code(2).stderr(predicates::str::contains("number every pad once"));
    let table = numbered_table(home.path(), |k| k + 1);
    let form = home.path().join("form.json");
    let write = |text: &str| std::fs::write(&form, text).unwrap();
    let shown = form.display().to_string();
    write(
        r#"{"length_mm": 76, "width_mm": 5.4, "pads": [{"analyte": "nitrate", "centre_mm": 5, "size_mm": 5}]}"#,
    );
    calibrate(home.path(), &table, &["--strip-form", &shown])
        .code(2)
        .stderr(predicates::str::contains("same analytes"));
    write("{}");
    calibrate(home.path(), &table, &["--strip-form", &shown])
        .code(2)
        .stderr(predicates::str::contains("no strip form"));
}

/// Measures of the rendered strip, as a ruler would give them.
#[test]
fn a_form_described_by_hand_is_taken_as_it_is() {
    let home = tempfile::tempdir().unwrap();
    let table = numbered_table(home.path(), |k| k + 1);
    let form = home.path().join("form.json");
    let pads: Vec<String> = ORDER
        .iter()
        .enumerate()
        .map(|(k, analyte)| {
            format!(r#"{{"analyte": "{analyte}", "centre_mm": {:.1}, "size_mm": 5.0}}"#, 5.0 + 6.6 * k as f64)
        })
        .collect();
    let text = format!(r#"{{"length_mm": 76.0, "width_mm": 5.4, "pads": [{}]}}"#, pads.join(", "));
    std::fs::write(&form, text).unwrap();
    calibrate(home.path(), &table, &["--strip-form", &form.display().to_string()]).success();
    let chart: Value =
        serde_json::from_slice(&std::fs::read(home.path().join("calibration/kit.json")).unwrap()).unwrap();
    assert_eq!(chart["strip"]["length_mm"], 76.0);
    assert_eq!(chart["strip"]["pads"][3]["centre_mm"], 24.8);
}

/// Where the table names fewer pads than the strip has, the user sees which were found.
#[test]
fn pads_found_are_drawn_also_where_no_form_can_be_learnt() {
    let home = tempfile::tempdir().unwrap();
    let photo = file("strip_standards").join("005.jpg");
    let table = home.path().join("short.csv");
    let rows: String = ["nitrate,40", "nitrite,2"].map(|row| format!("{},{row}\n", photo.display())).concat();
    std::fs::write(&table, format!("photo,analyte,value\n{rows}")).unwrap();
    calibrate(home.path(), &table, &[])
        .code(2)
        .stderr(predicates::str::contains("names 2 analytes"))
        .stderr(predicates::str::contains("kit-found.png shows what was found"));
    assert!(image::open(home.path().join("calibration/kit-found.png")).is_ok());
    assert!(!home.path().join("calibration/kit.json").exists());
}

/// The nitrate pad's standards counted as N: 1 mg/L N is 4.4266 mg/L NO3 (62.004 / 14.007, IUPAC weights).
#[test]
fn a_pads_unit_counts_its_standards_and_readings_stay_in_the_default_unit() {
    let home = tempfile::tempdir().unwrap();
    let in_no3 = numbered_table(home.path(), |k| k + 1);
    let mut rows = csv::Reader::from_path(&in_no3).unwrap();
    let text: String = rows
        .records()
        .map(Result::unwrap)
        .map(|row| {
            let value: f64 = row[2].parse().unwrap();
            let value = if &row[1] == "nitrate" { value * 14.007 / 62.004 } else { value };
            format!("{},{},{value},{}\n", &row[0], &row[1], &row[3])
        })
        .collect();
    let table = home.path().join("as-n.csv");
    std::fs::write(&table, format!("photo,analyte,value,pad\n{text}")).unwrap();
    let form = home.path().join("form.json");
    let write = |unit: &str| {
        let pads: Vec<String> = ORDER
            .iter()
            .enumerate()
            .map(|(k, analyte)| {
                let unit = if k == 0 { format!(r#""unit": "{unit}", "#) } else { String::new() };
                let centre = 5.0 + 6.6 * k as f64;
                format!(r#"{{"analyte": "{analyte}", {unit}"centre_mm": {centre:.1}, "size_mm": 5.0}}"#)
            })
            .collect();
        let text = format!(r#"{{"length_mm": 76.0, "width_mm": 5.4, "pads": [{}]}}"#, pads.join(", "));
        std::fs::write(&form, text).unwrap();
    };
    let shown = form.display().to_string();
    write("mg/L NO2");
    calibrate(home.path(), &table, &["--strip-form", &shown])
        .code(2)
        .stderr(predicates::str::contains("the unit of nitrate can be: mg/L NO3, mg/L N"));
    write("mg/L N");
    calibrate(home.path(), &table, &["--strip-form", &shown]).success();
    let chart: Value =
        serde_json::from_slice(&std::fs::read(home.path().join("calibration/kit.json")).unwrap()).unwrap();
    assert_eq!(chart["strip"]["pads"][0]["unit"], "mg/L N");
    let top = chart["scales"][0]["levels"].as_array().unwrap().last().unwrap()["value"].as_f64().unwrap();
    assert!((top - 160.0).abs() < 0.01, "{top}");
    let photo = file("strip_unknown").join("004.jpg").display().to_string();
    let output =
        tintwell(&home).args(["--json", "read", "--dry-run", "--chart", "kit", &photo]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let nitrate: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
    assert_eq!(nitrate["unit"], "mg/L NO3");
    assert!((12.0..32.0).contains(&nitrate["value"].as_f64().unwrap()), "20 rendered: {nitrate}");
}

#[test]
fn a_strips_chart_is_improved_by_one_more_strip_and_says_what_each_pad_gained() {
    let home = tempfile::tempdir().unwrap();
    let table = numbered_table(home.path(), |k| k + 1);
    calibrate(home.path(), &table, &[]).success();
    let add = |what: &str| tintwell(&home).args(["--json", "calibrate", "kit", "--add", what]).assert();
    let more = home.path().join("more.csv");
    let photo = file("strip_unknown").join("005.jpg");
    let write = |rows: &[&str]| {
        let rows: String = rows.iter().map(|row| format!("{},{row}\n", photo.display())).collect();
        std::fs::write(&more, format!("photo,analyte,value\n{rows}")).unwrap();
    };
    let shown = more.display().to_string();
    add(&format!("{}=1", photo.display())).code(2).stderr(predicates::str::contains("a row for each pad"));
    write(&["nitrate,1.3", "nitrite,0.74"]);
    add(&shown).code(2).stderr(predicates::str::contains("not the pads of the chart's strip"));
    write(&["nitrate,1.3", "nitrite,0.74", "ph,6.8", "ammonia,0.44"]);
    let done = add(&shown).success();
    let text = String::from_utf8(done.get_output().stdout.clone()).unwrap();
    let line: Value = serde_json::from_str(text.trim()).unwrap();
    assert_eq!(line["revision"], 2);
    let gained: Vec<&str> =
        line["gains"].as_array().unwrap().iter().map(|gain| gain["analyte"].as_str().unwrap()).collect();
    assert_eq!(gained, ORDER);
    let chart: Value =
        serde_json::from_slice(&std::fs::read(home.path().join("calibration/kit.json")).unwrap()).unwrap();
    for scale in chart["scales"].as_array().unwrap() {
        let has = |value: f64| scale["levels"].as_array().unwrap().iter().any(|l| l["value"] == value);
        assert!(has(1.3) || has(0.74) || has(6.8) || has(0.44), "{scale}");
    }
    assert_eq!(chart["strip"]["pads"].as_array().unwrap().len(), 4);
    add(&shown).code(2).stderr(predicates::str::contains("revision 2"));
}
