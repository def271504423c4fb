//! The printable card, through the command and found again by the card finder.

use assert_cmd::Command;
use predicates::str::contains;
use tintwell::card::{self, Point};

use crate::support::home;

fn tintwell(home: &tempfile::TempDir) -> Command {
    let mut command = home::tintwell(home);
    command.current_dir(home.path());
    command
}

/// Corners of the card's trimmed edge in a PNG of the sheet: told by the file, found in the picture.
fn told_and_found(options: &[&str], dpi: f64) -> Vec<((f64, f64), Point)> {
    let home = tempfile::tempdir().unwrap();
    let output = tintwell(&home)
        .args(["--json", "card", "--out", "card.png", "--dpi", &dpi.to_string()])
        .args(options)
        .assert()
        .success();
    let told: serde_json::Value = serde_json::from_slice(&output.get_output().stdout).unwrap();
    let mm = |field: &str| told["trimmed_mm"][field].as_f64().unwrap();
    let picture = image::open(home.path().join("card.png")).unwrap().into_rgb8();
    let view = card::find(&picture.into()).unwrap();
    let corner = |x: f64, y: f64| {
        // Pixel centres are whole numbers, so the page's edge lies at -0.5.
        let pixel = |mm: f64| mm / 25.4 * dpi - 0.5;
        ((pixel(mm("x") + x), pixel(mm("y") + y)), view.to_photo.apply((x, y)))
    };
    let (width, height) = (mm("width"), mm("height"));
    assert_eq!((width, height), (view.layout.width_mm, view.layout.height_mm));
    vec![corner(0.0, 0.0), corner(width, 0.0), corner(width, height), corner(0.0, height)]
}

#[test]
fn the_printed_card_is_found_where_it_was_printed() {
    for options in [&["--paper", "a4"][..], &["--paper", "photo"], &["--windows", "4", "--paper", "letter"]] {
        for (told, found) in told_and_found(options, 200.0) {
            let off = (told.0 - found.0).hypot(told.1 - found.1);
            assert!(off < 0.5, "{options:?}: {off} pixels of 0.127 mm: {told:?} {found:?}");
        }
    }
}

#[test]
fn the_ending_of_the_file_name_chooses_the_format() {
    let home = tempfile::tempdir().unwrap();
    for (name, start) in [("a.pdf", &b"%PDF-"[..]), ("a.svg", b"<svg "), ("a.png", b"\x89PNG")] {
        tintwell(&home).args(["card", "--out", name]).assert().success();
        assert!(std::fs::read(home.path().join(name)).unwrap().starts_with(start), "{name}");
    }
}

#[test]
fn without_a_name_a_pdf_is_written_here() {
    let home = tempfile::tempdir().unwrap();
    tintwell(&home).arg("card").assert().success().stdout("").stderr(contains("print it at 100 %"));
    assert!(home.path().join("tintwell-card.pdf").exists());
}

#[test]
fn a_card_goes_to_standard_output_on_request() {
    let home = tempfile::tempdir().unwrap();
    let output = tintwell(&home).args(["card", "--out", "-", "--format", "svg"]).assert().success();
    assert!(output.get_output().stdout.starts_with(b"<svg "));
}

#[test]
fn slips_and_errors_end_as_they_should() {
    let home = tempfile::tempdir().unwrap();
    tintwell(&home).args(["card", "--slip", "100,586", "--out", "slips.pdf"]).assert().success();
    let cases: [(&[&str], &str); 6] = [
        (&["--slip", "7"], "use ids 100 to 586"),
        (&["--slip", "100", "--windows", "4"], "cannot be used with"),
        (&["--windows", "4", "--paper", "photo"], "use --paper a4"),
        (&["--windows", "4", "--analytes", "ph"], "one for each window"),
        (&["--format", "svg", "--out", "card.pdf"], "disagree"),
        (&["--out", "no/such/folder/card.pdf"], "check that its folder exists"),
    ];
    for (options, words) in cases {
        tintwell(&home).arg("card").args(options).assert().code(2).stderr(contains(words));
    }
}
