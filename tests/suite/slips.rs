//! Tag slips that tell tank and kit, through the commands.
//!
//! No photo with slips exists: slips are drawn into rendered photos at the card's free places, with
//! the light of the photo's own paper there (`support/scene.rs`).

use std::path::{Path, PathBuf};

use serde_json::Value;
use tintwell::card::CardView;
use tintwell::card::slips::{AtPlace, laid};
use tintwell::photo as file;
use tintwell::pipeline;

use crate::support::home::{Home, Run};
use crate::support::reading;
use crate::support::scene::{Slip, left, right, with_slips};

const AT: &str = "2031-03-04T18:05:00+01:00";

/// Slip 101 stands for the tank in the hallway, 102 for the one on the porch, 201 for the ammonia kit,
/// 202 for the nitrite kit.
fn home() -> Home {
    let home = Home::new();
    let print = |words: &[&str]| {
        let out = home.path().join("slips.svg");
        home.done(["card", "--out", out.to_str().unwrap()].iter().chain(words));
    };
    print(&["--slip", "101", "--tank", "hallway"]);
    print(&["--slip", "102", "--tank", "porch"]);
    print(&["--slip", "201", "--chart", "rendered-ammonia"]);
    print(&["--slip", "202", "--chart", "rendered-nitrite"]);
    home
}

fn photo(home: &Home, name: &str, of: &str, slips: &[Slip]) -> PathBuf {
    let file = home.path().join(name);
    with_slips(of, slips, &file);
    file
}

fn read(home: &Home, photo: &Path, words: &[&str]) -> Run {
    let photo = photo.to_str().unwrap();
    home.run(["--json", "read", "--at", AT, photo].iter().chain(words))
}

fn only(run: &Run) -> Value {
    let lines = run.lines();
    assert_eq!(lines.len(), 1, "{}{}", run.out, run.err);
    lines[0].clone()
}

fn reason(run: &Run) -> String {
    let line = only(run);
    assert_eq!((&line["status"], &line["analyte"]), (&"refused".into(), &Value::Null), "{line}");
    assert_eq!(run.status, 2);
    line["reason"].as_str().unwrap().to_owned()
}

fn logged(home: &Home) -> Vec<(String, String)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let lines = home.done(["--json", "log"]).lines();
    lines.iter().map(|line| (text(&line["tank"]), text(&line["analyte"]))).collect()
}

#[test]
fn a_photo_says_its_own_tank_and_chart() {
    let home = home();
    let turned =
        |slip: Slip, turned: f64, x: f64, y: f64| Slip { turned, at: (slip.at.0 + x, slip.at.1 + y), ..slip };
    let cases =
        [[left(101), right(201)], [turned(left(101), 90.0, 1.5, -4.0), turned(right(201), 200.0, -1.0, 3.0)]];
    for (k, slips) in cases.iter().enumerate() {
        let photo = photo(&home, &format!("{k}.jpg"), "ammonia_unknown/003.jpg", slips);
        let line = only(&read(&home, &photo, &["--dry-run"]));
        assert_eq!(
            (&line["tank"], &line["chart"]),
            (&"hallway".into(), &"rendered-ammonia".into()),
            "{line}"
        );
        // The paste changes no patch and no liquid.
        let plain = reading::file("ammonia_unknown/003.jpg");
        let plain = only(&read(&home, &plain, &["--dry-run", "--chart", "rendered-ammonia"]));
        let (value, plain) = (line["value"].as_f64().unwrap(), plain["value"].as_f64().unwrap());
        assert!((value - plain).abs() < 0.05 * plain, "{value} with slips, {plain} without");
    }
    assert_eq!(logged(&home), []);
    let photo = home.path().join("0.jpg");
    let told = home.done(["read", "--at", AT, photo.to_str().unwrap()]);
    assert!(told.out.contains("by its slips: tank hallway (slip 101), chart rendered-ammonia (slip 201)"));
    assert!(told.out.contains("hallway, as of"), "{}", told.out);
    assert_eq!(logged(&home), [("hallway".to_owned(), "ammonia".to_owned())]);
}

#[test]
fn an_option_that_contradicts_a_slip_refuses_the_photo_and_names_both() {
    let home = home();
    let photo = photo(&home, "a.jpg", "ammonia_unknown/003.jpg", &[left(101), right(201)]);
    let told = reason(&read(&home, &photo, &["--tank", "porch"]));
    assert!(told.contains("\"hallway\"") && told.contains("--tank says \"porch\""), "{told}");
    let told = reason(&read(&home, &photo, &["--chart", "rendered-nitrite"]));
    assert!(told.contains("\"rendered-ammonia\"") && told.contains("says \"rendered-nitrite\""), "{told}");
    assert!(told.contains("--ignore-slips"), "{told}");
    assert_eq!(logged(&home), []);
    let same = ["--tank", "hallway", "--chart", "rendered-ammonia"];
    assert_eq!(read(&home, &photo, &same).status, 0);
    let other = ["--tank", "porch", "--chart", "rendered-ammonia", "--ignore-slips"];
    assert_eq!(only(&read(&home, &photo, &[&other[..], &["--dry-run"]].concat()))["tank"], "porch");
    assert_eq!(logged(&home), [("hallway".to_owned(), "ammonia".to_owned())]);
}

#[test]
fn slips_that_cannot_be_heeded_are_refused_with_the_mend() {
    let home = home();
    let above = |slip: Slip, dy: f64| Slip { at: (slip.at.0, slip.at.1 + dy), ..slip };
    let cases = [
        (vec![left(201), right(101)], "chart \"rendered-ammonia\" but lies at the place for the tank's slip"),
        (vec![right(101)], "tank \"hallway\" but lies at the place for the kit's slip"),
        (vec![left(101), right(333)], "card --slip 333 --chart NAME"),
        (vec![above(left(101), -10.2), above(left(102), 10.2)], "two slips lie at the place for the tank's"),
    ];
    for (k, (slips, words)) in cases.iter().enumerate() {
        let photo = photo(&home, &format!("{k}.jpg"), "ammonia_unknown/003.jpg", slips);
        let told = reason(&read(&home, &photo, &[]));
        assert!(told.contains(words), "{told}");
    }
    let photo = photo(&home, "gone.jpg", "ammonia_unknown/003.jpg", &[right(202)]);
    let text = std::fs::read_to_string(home.path().join("slips.json")).unwrap();
    std::fs::write(home.path().join("slips.json"), text.replace("rendered-nitrite", "long-gone")).unwrap();
    let told = reason(&read(&home, &photo, &[]));
    assert!(told.contains("\"long-gone\"") && told.contains("--forget-slip 202"), "{told}");
    assert_eq!(logged(&home), []);
}

#[test]
fn a_slip_without_meaning_is_said_and_stands_in_nobodys_way() {
    let home = home();
    let photo = photo(&home, "a.jpg", "ammonia_unknown/003.jpg", &[left(300), right(301)]);
    let chart = ["--chart", "rendered-ammonia"];
    let run = read(&home, &photo, &[&chart[..], &["--tank", "porch", "--dry-run"]].concat());
    assert_eq!((run.status, &only(&run)["tank"]), (0, &"porch".into()));
    assert!(
        run.err.contains("--slip 300 --tank NAME") && run.err.contains("--slip 301 --chart"),
        "{}",
        run.err
    );
    // Nothing tells the tank: the number is given, and that it was not logged is said.
    let run = read(&home, &photo, &chart);
    assert_eq!((run.status, &only(&run)["status"]), (1, &"read".into()));
    assert!(run.err.contains("does not tell the tank, so it was not logged"), "{}", run.err);
    assert_eq!(logged(&home), []);
}

#[test]
fn a_slip_at_no_place_is_said_and_not_heeded() {
    let home = home();
    let astray = Slip { id: 101, at: (75.0, 22.0), turned: 0.0 };
    let photo = photo(&home, "a.jpg", "ammonia_unknown/003.jpg", &[astray, right(201)]);
    let run = read(&home, &photo, &["--dry-run"]);
    assert_eq!(only(&run)["tank"], Value::Null);
    assert!(run.err.contains("slip 101 (tank \"hallway\") lies at no place"), "{}", run.err);
}

#[test]
fn a_folder_of_mixed_tanks_and_kits_sorts_itself() {
    let home = home();
    let folder = home.path().join("in");
    std::fs::create_dir(&folder).unwrap();
    let into = |name: &str, of: &str, slips: &[Slip]| with_slips(of, slips, &folder.join(name));
    into("20310304_180500.jpg", "ammonia_unknown/003.jpg", &[left(101), right(201)]);
    into("20310304_181000.jpg", "nitrite_unknown/003.jpg", &[left(102), right(202)]);
    into("20310304_181500.jpg", "ammonia_unknown/005.jpg", &[right(201)]);
    into("20310304_182000.jpg", "ammonia_unknown/007.jpg", &[left(400), right(201)]);
    let run = home.run(["import", folder.to_str().unwrap()]);
    assert!(
        run.out.contains("2 logged (2 readings)") && run.out.contains("2 to mend"),
        "{}{}",
        run.out,
        run.err
    );
    assert!(
        run.err.contains("not told which tank") && run.err.contains("--slip 400 --tank NAME"),
        "{}",
        run.err
    );
    let pair = |tank: &str, analyte: &str| (tank.to_owned(), analyte.to_owned());
    assert_eq!(logged(&home), [pair("hallway", "ammonia"), pair("porch", "nitrite")]);
    // Told for the rest; what is in the log already is not asked again.
    home.done(["import", "--tank", "porch", folder.to_str().unwrap()]);
    assert_eq!(logged(&home).len(), 4);
    // A folder's mapping against a slip.
    into("20310305_180500.jpg", "ammonia_unknown/001.jpg", &[left(101), right(201)]);
    let map = format!("{}=porch", folder.display());
    let run = home.run(["import", "--folder", &map, folder.to_str().unwrap()]);
    assert_eq!(run.status, 1);
    assert!(
        run.err.contains("stands for tank \"hallway\", but its folder (--folder) says \"porch\""),
        "{}",
        run.err
    );
    home.done(["import", "--ignore-slips", "--chart", "rendered-ammonia", folder.to_str().unwrap()]);
    assert_eq!(logged(&home)[4], pair("porch", "ammonia"));
}

#[test]
fn meanings_are_listed_and_forgotten() {
    let home = home();
    let listed = home.done(["--json", "card", "--list-slips"]).lines();
    assert_eq!(listed.len(), 4);
    assert_eq!(listed[0], serde_json::json!({"slip": 101, "tank": "hallway", "chart": null}));
    home.done(["card", "--forget-slip", "101"]);
    assert_eq!(home.done(["card", "--list-slips"]).out.lines().count(), 3);
    for (words, told) in [
        (&["--slip", "102", "--tank", "hallway"][..], "stands for tank \"porch\" already"),
        (&["--slip", "103", "--chart", "nowhere"], "no chart \"nowhere\""),
        (&["--slip", "103", "--chart", "../x.json"], "by its name, not by its file"),
        (&["--slip", "103,104", "--tank", "hallway"], "one id at a time"),
        (&["--slip", "99", "--tank", "hallway"], "use ids 100 to 586"),
        (&["--forget-slip", "103"], "stands for nothing"),
        (&["--tank", "hallway"], "--slip"),
    ] {
        let run = home.run(["card"].iter().chain(words));
        assert_eq!(run.status, 2, "{words:?}");
        assert!(run.err.contains(told), "{words:?}: {}", run.err);
    }
}

/// What the first look over the whole photo misses: here its findings are taken away.
#[test]
fn a_covered_place_is_looked_at_once_more_for_its_slip() {
    let home = Home::new();
    let seen = |name: &str, slips: &[Slip]| {
        let photo = photo(&home, name, "ammonia_unknown/003.jpg", slips);
        let view = pipeline::look(file::open(&photo).unwrap()).unwrap();
        let blind = CardView { slips: Vec::new(), ..view.card.clone() };
        laid(&view.photo.pixels, &blind)
    };
    let turned = Slip { turned: 25.0, at: (12.0, 53.0), ..left(101) };
    let both = seen("both.jpg", &[turned, right(586)]);
    assert_eq!(both.places, [AtPlace::Slips(vec![101]), AtPlace::Slips(vec![586])]);
    assert_eq!(both.elsewhere, [0_u16; 0]);
    assert_eq!(seen("none.jpg", &[]).places, [AtPlace::Nothing, AtPlace::Nothing]);
    // A tag of the family that is no slip.
    assert_eq!(seen("other.jpg", &[left(50)]).places, [AtPlace::Unreadable, AtPlace::Nothing]);
}
