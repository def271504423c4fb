//! First charts from printed colour scales, and charts that grow by single standards, through the
//! command. The printed scales are rendered into rendered photos; they prove nothing of a real kit's.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use predicates::str::contains;
use serde_json::Value;
use tintwell::card::layout::PointMm;
use tintwell::chart::{Chart, matching::typical_light};
use tintwell::terms::space::Relative;

use crate::support::home;
use crate::support::reading::file;
use crate::support::swatches::{Print, rendered, squares};

const LEVELS: &str = "0,0.25,0.5,1,2,4,8";

fn photos() -> PathBuf {
    file("ammonia_standards")
}

fn shipped() -> Chart {
    Chart::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/rendered-ammonia.json")).unwrap()
}

/// The kit's colours as a printer might lay them down: three percent too pale and a little greener.
fn printed() -> Vec<Relative> {
    let chart = shipped();
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let print = |value: f64| {
        let light = typical_light(path, value);
        let gains = [1.03, 0.93, 0.97];
        std::array::from_fn(|channel| light[channel].powf(gains[channel]))
    };
    path.levels.iter().map(|&value| print(value)).collect()
}

/// A scale rendered into the window of a rendered photo, as a file in the home folder.
fn scale(home: &Path, name: &str, colours: &[Relative], print: impl Fn(PointMm) -> Print) -> PathBuf {
    let file = home.join(name);
    rendered(&photos().join("001.jpg"), &shipped(), colours, print).save(&file).unwrap();
    file
}

fn tintwell(home: &Path) -> Command {
    let mut command = home::tintwell(home);
    command.current_dir(photos());
    command
}

fn from_swatches(home: &Path, photo: &Path) -> Command {
    let mut command = tintwell(home);
    command.args(["calibrate", "first", "--analyte", "ammonia", "--levels", LEVELS, "--swatches"]).arg(photo);
    command
}

fn lines(command: &mut Command) -> Vec<Value> {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn chart(home: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(home.join("calibration/first.json")).unwrap()).unwrap()
}

fn read(home: &Path, chart: &str, photo: &str) -> Value {
    let mut read = tintwell(home);
    read.args(["--json", "read", "--dry-run", "--chart", chart, photo]);
    lines(&mut read).remove(0)
}

fn width(reading: &Value) -> f64 {
    reading["high"].as_f64().unwrap() - reading["low"].as_f64().unwrap()
}

/// 013 was rendered at 2 mg/L, with the vial and the lamp of a standard.
#[test]
fn a_printed_scale_makes_a_chart_whose_readings_are_flagged_and_wider() {
    let home = tempfile::tempdir().unwrap();
    let photo = scale(home.path(), "scale.png", &printed(), squares(7, 9.0, 2.0, false));
    from_swatches(home.path(), &photo).assert().success().stdout(contains("Provisional")).stderr("");
    assert!(home.path().join("calibration/first-found.png").is_file());
    let kept = chart(home.path());
    assert_eq!(kept["scales"][0]["is_provisional"], true);
    assert_eq!(kept["history"][0]["revision"], 1);
    assert_eq!(kept["history"][0]["step"], "made");
    let provisional = read(home.path(), "first", "013.jpg");
    assert!(provisional["flags"].to_string().contains("provisional_chart"), "{provisional}");
    let low_high = (provisional["low"].as_f64().unwrap(), provisional["high"].as_f64().unwrap());
    assert!(low_high.0 <= 2.0 && 2.0 <= low_high.1, "{provisional}");
    let sure = read(home.path(), "rendered-ammonia", "013.jpg");
    assert!(!sure["flags"].to_string().contains("provisional_chart"), "{sure}");
    assert!(width(&provisional) > 1.5 * width(&sure), "{provisional} {sure}");
}

/// A row of touching swatches under lettering, the highest level first.
#[test]
fn touching_swatches_in_a_row_are_told_apart_and_may_run_the_other_way() {
    let home = tempfile::tempdir().unwrap();
    let mut colours = printed();
    colours.reverse();
    let row = squares(7, 4.6, 0.0, true);
    let photo = scale(home.path(), "row.png", &colours, |place| {
        // Strokes of letters, 0.6 mm thick.
        let is_letter = (58.0..88.0).contains(&place.x)
            && (56.0..58.5).contains(&place.y)
            && (place.x * 0.7).fract() < 0.42;
        if is_letter { Print::Ink } else { row(place) }
    });
    from_swatches(home.path(), &photo).assert().success().stderr(contains("--reverse"));
    from_swatches(home.path(), &photo).arg("--reverse").assert().success().stderr("");
    let levels = chart(home.path())["scales"][0]["levels"].clone();
    let blue = |k: usize| levels[k]["absorbance"][2].as_f64().unwrap();
    let red = |k: usize| levels[k]["absorbance"][0].as_f64().unwrap();
    assert!(red(0) < red(6), "the blank is the pale one: {levels}");
    assert!(blue(0) > 0.0);
}

#[test]
fn fewer_or_more_swatches_than_levels_are_refused_with_their_number_and_a_picture() {
    let home = tempfile::tempdir().unwrap();
    for (count, mend) in [(6, "separate such swatches"), (8, "cover everything")] {
        let mut colours = printed();
        colours.push([0.2, 0.5, 0.6]);
        let photo = scale(home.path(), "scale.png", &colours, squares(count, 8.0, 2.0, false));
        let picture = home.path().join(format!("found-{count}.png"));
        from_swatches(home.path(), &photo)
            .arg("--found")
            .arg(&picture)
            .assert()
            .code(2)
            .stderr(contains(format!("{count} swatches were found, but 7 levels were given")))
            .stderr(contains(mend));
        assert!(image::open(&picture).is_ok());
    }
    let empty = scale(home.path(), "empty.png", &[], |_| Print::Paper);
    from_swatches(home.path(), &empty).assert().code(2).stderr(contains("0 swatches were found"));
    assert!(!home.path().join("calibration/first.json").exists());
}

#[test]
fn levels_must_rise_and_the_analyte_be_named() {
    let home = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str]| {
        let mut command = tintwell(home.path());
        command.args(["calibrate", "first", "--swatches", "001.jpg"]).args(arguments).assert().code(2)
    };
    run(&["--levels", "0,1,0.5", "--analyte", "ammonia"]).stderr(contains("--reverse"));
    run(&["--levels", "0,1,2"]).stderr(contains("--analyte"));
    run(&["--levels", "0,1,2", "--analyte", "ammonia", "--form", "strip"]).stderr(contains("dipped strips"));
    run(&["--analyte", "ammonia"]).stderr(contains("--levels"));
}

#[test]
fn a_blank_and_one_standard_narrow_a_provisional_chart_and_its_history_says_so() {
    let home = tempfile::tempdir().unwrap();
    let photo = scale(home.path(), "scale.png", &printed(), squares(7, 9.0, 2.0, false));
    from_swatches(home.path(), &photo).assert().success();
    let before = read(home.path(), "first", "013.jpg");
    let mut add = tintwell(home.path());
    add.args(["--json", "calibrate", "first", "--add", "002.jpg=0", "--add", "012.jpg=2"]);
    let gains = lines(&mut add);
    assert_eq!(gains.len(), 2);
    for (line, revision) in gains.iter().zip(2..) {
        assert_eq!(line["revision"], revision);
        assert_eq!(line["provisional"][0], "ammonia");
        let interval = |when: &str| line["gains"][0][when]["interval_steps"].as_f64().unwrap();
        assert!(interval("after") < interval("before"), "{line}");
    }
    let after = &gains[1]["gains"][0]["after"];
    let (residual, interval) =
        (after["residual_steps"].as_f64().unwrap(), after["interval_steps"].as_f64().unwrap());
    assert!(residual < interval / 2.0, "{after}");
    assert!(after["cross_validated_steps"].is_number(), "{after}");
    let reading = read(home.path(), "first", "013.jpg");
    assert!(width(&reading) < width(&before), "{before} {reading}");
    assert!(reading["flags"].to_string().contains("provisional_chart"));
    let history = chart(home.path())["history"].clone();
    let sources: Vec<&str> = (0..3)
        .map(|k| history[k]["photos"][0]["photo"].as_str().unwrap().rsplit(['/', '\\']).next().unwrap())
        .collect();
    assert_eq!(sources, ["scale.png", "002.jpg", "012.jpg"]);
}

#[test]
fn the_same_photo_is_refused_the_second_time_whatever_its_name() {
    let home = tempfile::tempdir().unwrap();
    let photo = scale(home.path(), "scale.png", &printed(), squares(7, 9.0, 2.0, false));
    from_swatches(home.path(), &photo).assert().success();
    tintwell(home.path()).args(["calibrate", "first", "--add", "002.jpg=0"]).assert().success();
    let copy = home.path().join("copy.jpg");
    std::fs::copy(photos().join("002.jpg"), &copy).unwrap();
    let again = format!("{}=0.5", copy.display());
    tintwell(home.path())
        .args(["calibrate", "first", "--add", &again])
        .assert()
        .code(2)
        .stderr(contains("as 002.jpg in revision 2"));
    // One of two is new: done in part.
    tintwell(home.path())
        .args(["calibrate", "first", "--add", &again, "--add", "003.jpg=0"])
        .assert()
        .code(1);
    assert_eq!(chart(home.path())["history"].as_array().unwrap().len(), 3);
}

/// Five levels of solutions from the blank to the top: the printed scale has served its turn.
#[test]
fn enough_standards_make_the_chart_a_plain_one_and_it_keeps_its_number_when_made_anew() {
    let home = tempfile::tempdir().unwrap();
    let photo = scale(home.path(), "scale.png", &printed(), squares(7, 9.0, 2.0, false));
    from_swatches(home.path(), &photo).assert().success();
    let table = home.path().join("more.csv");
    let rows: String = [
        "001.jpg,ammonia,0",
        "006.jpg,ammonia,0.25",
        "009.jpg,ammonia,0.5",
        "012.jpg,ammonia,2",
        "018.jpg,ammonia,8",
    ]
    .iter()
    .map(|row| format!("{row}\n"))
    .collect();
    std::fs::write(&table, format!("photo,analyte,value\n{rows}")).unwrap();
    for name in ["001.jpg", "006.jpg", "009.jpg", "012.jpg", "018.jpg"] {
        std::fs::copy(photos().join(name), home.path().join(name)).unwrap();
    }
    tintwell(home.path()).args(["calibrate", "first", "--add"]).arg(&table).assert().success();
    let kept = chart(home.path());
    assert!(kept["scales"][0].get("is_provisional").is_none(), "{}", kept["scales"][0]);
    assert_eq!(kept["scales"][0]["levels"].as_array().unwrap().len(), 5);
    let reading = read(home.path(), "first", "013.jpg");
    assert!(!reading["flags"].to_string().contains("provisional_chart"));
    from_swatches(home.path(), &photo).assert().success();
    let history = chart(home.path())["history"].clone();
    let numbers: Vec<u64> =
        history.as_array().unwrap().iter().map(|r| r["revision"].as_u64().unwrap()).collect();
    assert_eq!(numbers, [1, 2, 3, 4, 5, 6, 7]);
    assert_eq!(history[6]["step"], "made");
}

/// `version-1.json` was written by the first version of the program from rendered standards.
#[test]
fn a_chart_file_of_version_1_is_read_but_cannot_be_added_to() {
    let home = tempfile::tempdir().unwrap();
    let old = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/chart/version-1.json");
    let file: Value = serde_json::from_slice(&std::fs::read(&old).unwrap()).unwrap();
    assert_eq!(file["version"], 1);
    let out = home.path().join("old.json");
    std::fs::copy(&old, &out).unwrap();
    assert_eq!(read(home.path(), &out.display().to_string(), "011.jpg")["status"], "read");
    tintwell(home.path())
        .args(["calibrate", "old", "--add", "002.jpg=0", "--out"])
        .arg(&out)
        .assert()
        .code(2)
        .stderr(contains("make it anew with --standards"));
}

#[test]
fn a_photo_cannot_be_added_to_a_chart_that_is_not_there_or_without_a_number() {
    let home = tempfile::tempdir().unwrap();
    let add = |text: &str| tintwell(home.path()).args(["calibrate", "first", "--add", text]).assert().code(2);
    add("002.jpg=0").stderr(contains("there is no chart \"first\""));
    let photo = scale(home.path(), "scale.png", &printed(), squares(7, 9.0, 2.0, false));
    from_swatches(home.path(), &photo).assert().success();
    add("002.jpg=pale").stderr(contains("not a number"));
    add("nowhere.jpg=1").stderr(contains("there is no file nowhere.jpg"));
}

/// The same standards, said to be known to 10 % only: by the GUM (JCGM 100:2008, 5.1.2) the reading's
/// variance grows by that of the value, here (0.10 x 2 mg/L)^2, so that its interval of about 2 x 1.96
/// standard deviations widens in quadrature. 013 was rendered at 2 mg/L. A fifth is left to the ends of
/// the chart and to the fit, which weighs uncertain standards less.
#[test]
fn standards_that_are_known_less_well_widen_readings_as_the_gum_says() {
    let home = tempfile::tempdir().unwrap();
    let known = photos().parent().unwrap().join("ammonia_standards.csv");
    let mut rows = csv::Reader::from_path(known).unwrap();
    let table: Vec<String> = rows
        .records()
        .map(Result::unwrap)
        .map(|row| format!("{},{},{}", photos().parent().unwrap().join(&row[0]).display(), &row[1], &row[2]))
        .collect();
    let make = |name: &str, head: &str, tail: &str| {
        let file = home.path().join(format!("{name}.csv"));
        let text: Vec<String> = table.iter().map(|row| format!("{row}{tail}")).collect();
        std::fs::write(&file, format!("photo,analyte,value{head}\n{}\n", text.join("\n"))).unwrap();
        tintwell(home.path()).args(["calibrate", name, "--standards"]).arg(&file).assert().success();
        read(home.path(), name, "013.jpg")
    };
    let (exact, doubted) = (make("exact", "", ""), make("doubted", ",uncertainty_percent", ",10"));
    let expected = width(&exact).hypot(2.0 * 1.96 * 0.10 * 2.0);
    assert!((width(&doubted) / expected - 1.0).abs() < 0.2, "{exact} {doubted} {expected}");
}
