//! What a kit's leaflet says, entered into its chart and held against readings, through the commands.
//! The photos are rendered.

use std::path::Path;

use serde_json::Value;
use tintwell::chart::Chart;
use tintwell::pipeline::{self, Window};
use tintwell::report::picture::{self, Scaled};

use crate::support::home::{Home, Run};

const TAKEN: &str = "2031-03-04T18:05:00+01:00";

/// A home whose own chart is a copy of the shipped one for ammonia, made before leaflets were kept.
fn home() -> Home {
    let home = Home::new();
    let folder = home.path().join("calibration");
    std::fs::create_dir_all(&folder).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/rendered-ammonia.json");
    std::fs::copy(shipped, folder.join("rendered-ammonia.json")).unwrap();
    home
}

fn enter(home: &Home, facts: &[&str]) -> Run {
    home.run(["calibrate", "rendered-ammonia"].iter().chain(facts))
}

fn read(home: &Home, options: &[&str]) -> Run {
    let photo = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/photos/series/001.jpg");
    home.run(["read", "--json", "--chart", "rendered-ammonia"].iter().chain(options).chain(&[photo]))
}

#[track_caller]
fn flags(run: &Run) -> Vec<String> {
    assert_eq!(run.status, 0, "{}{}", run.out, run.err);
    let line: &Value = &run.lines()[0];
    let flags = line["flags"].as_array().unwrap().iter();
    flags.map(|flag| flag.as_str().unwrap().to_owned()).collect()
}

#[track_caller]
fn has(run: &Run, flag: &str) -> bool {
    flags(run).iter().any(|own| own == flag)
}

#[test]
fn a_photo_far_from_the_waiting_time_is_flagged() {
    let home = home();
    assert_eq!(enter(&home, &["--wait", "5"]).status, 0);
    let after = |mixed: &str| read(&home, &["--dry-run", "--at", TAKEN, "--mixed-at", mixed]);
    for in_time in ["2031-03-04 18:00", "2031-03-04 18:01", "2031-03-04T17:59:00+01:00"] {
        assert!(!has(&after(in_time), "waiting_time_missed"), "{in_time}");
    }
    for missed in ["2031-03-04 18:04", "2031-03-04 17:40", "2031-03-03 18:00"] {
        assert!(has(&after(missed), "waiting_time_missed"), "{missed}");
    }
    assert!(!has(&read(&home, &["--dry-run", "--at", TAKEN]), "waiting_time_missed"));
}

#[test]
fn facts_add_to_those_entered_before_and_are_shown() {
    let home = home();
    assert_eq!(enter(&home, &["--wait", "5", "--shake", "20 s, hard"]).status, 0);
    let run = enter(&home, &["--temperature", "20..28", "--expires", "2031-09-30"]);
    let shown = "water of 20 to 28 °C; shake: 20 s, hard; photograph after 5 min";
    assert!(run.out.contains(shown) && run.out.contains("2031-09-30"), "{}{}", run.out, run.err);
    let file = home.path().join("calibration/rendered-ammonia.json");
    let chart: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    let leaflet = r#"{"coldest_c":20.0,"shake":"20 s, hard","wait_minutes":5.0,"warmest_c":28.0}"#;
    assert_eq!(chart["leaflet"], serde_json::from_str::<Value>(leaflet).unwrap());
    let expired = read(&home, &["--dry-run", "--at", "2031-10-02"]);
    assert!(has(&expired, "chart_expired"));
}

#[test]
fn a_fact_entered_by_mistake_can_be_taken_out() {
    let home = home();
    let all = ["--wait", "5", "--shake", "20 s", "--temperature", "20..28", "--expires", "2031-03-01"];
    assert_eq!(enter(&home, &all).status, 0);
    let run = enter(&home, &["--temperature", "none", "--wait", "none"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(run.out.contains("Leaflet      shake: 20 s\n") && run.out.contains("2031-03-01"), "{}", run.out);
    let told = ["--dry-run", "--at", TAKEN, "--temperature", "17"];
    assert!(!has(&read(&home, &told), "cold_water") && has(&read(&home, &told), "chart_expired"));
    let run = enter(&home, &["--shake", "none", "--expires", "none"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(run.out.contains("nothing entered") && !run.out.contains("Expires"), "{}", run.out);
    assert!(!has(&read(&home, &told), "chart_expired"));
    let file = home.path().join("calibration/rendered-ammonia.json");
    let chart: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    assert!(chart.get("leaflet").is_none() && chart["expires"].is_null(), "{chart}");
}

#[test]
fn cold_water_is_flagged_by_option_or_by_the_nearest_logged_temperature() {
    let home = home();
    assert_eq!(enter(&home, &["--temperature", "20..28"]).status, 0);
    let told = |celsius: &str| read(&home, &["--dry-run", "--at", TAKEN, "--temperature", celsius]);
    assert!(has(&told("17"), "cold_water"));
    assert!(!has(&told("20"), "cold_water"));
    let warm = told("31");
    assert!(!has(&warm, "cold_water") && warm.err.contains("warmer than the kit"), "{}", warm.err);
    let log = |at: &str, celsius: &str| {
        home.done(["add", "--tank", "porch", "--at", at, &format!("temperature={celsius}")]);
    };
    log("2031-03-01 12:00", "16");
    let of_tank = |tank: &str, more: &[&str]| {
        read(&home, &[&["--dry-run", "--at", TAKEN, "--tank", tank], more].concat())
    };
    assert!(!has(&of_tank("porch", &[]), "cold_water"), "three days before tell nothing");
    log("2031-03-04 08:00", "24");
    log("2031-03-04 17:00", "18");
    assert!(has(&of_tank("porch", &[]), "cold_water"));
    assert!(!has(&of_tank("hallway", &[]), "cold_water"), "another tank's");
    assert!(!has(&of_tank("porch", &["--temperature", "22"]), "cold_water"), "the option rules");
}

#[test]
fn what_cannot_be_checked_is_said() {
    let home = home();
    let run = read(&home, &["--dry-run", "--at", TAKEN, "--mixed-at", "2031-03-04 18:00"]);
    assert!(run.err.contains("holds no waiting time") && run.err.contains("--wait"), "{}", run.err);
    assert_eq!(enter(&home, &["--wait", "5"]).status, 0);
    // A copy without metadata, so without a time.
    let photo = home.path().join("untimed.png");
    let source = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/photos/series/001.jpg");
    image::open(source).unwrap().save(&photo).unwrap();
    let photo = photo.display().to_string();
    let args =
        ["read", "--json", "--dry-run", "--chart", "rendered-ammonia", "--mixed-at", "2031-03-04 18:00"];
    let run = home.run(args.into_iter().chain([photo.as_str()]));
    assert!(!has(&run, "waiting_time_missed"));
    assert!(run.err.contains("cannot be checked whether the waiting time"), "{}", run.err);
}

#[test]
fn facts_that_make_no_sense_are_refused_and_change_nothing() {
    let home = home();
    let file = home.path().join("calibration/rendered-ammonia.json");
    let before = std::fs::read(&file).unwrap();
    for (facts, words) in [
        (&["--wait", "-5"][..], "more than 0"),
        (&["--wait", "0"], "more than 0"),
        (&["--temperature", "28..20"], "20..28"),
        (&["--temperature", "warm"], "20..28"),
        (&["--temperature", "..80"], "between 0 and 50"),
        (&["--shake", " "], "how to shake"),
    ] {
        let run = enter(&home, facts);
        assert_eq!(run.status, 2, "{facts:?}: {}", run.out);
        assert!(run.err.contains(words), "{facts:?}: {}", run.err);
    }
    assert_eq!(std::fs::read(&file).unwrap(), before);
    assert_eq!(enter(&home, &["--temperature", "20.."]).status, 0);
    let run = enter(&home, &["--temperature", "..18"]);
    assert!(run.status == 2 && run.err.contains("wrong way round"), "{}", run.err);
    let run = home.run(["calibrate", "no-such", "--wait", "5"]);
    assert!(run.status == 2 && run.err.contains("no-such"), "{}", run.err);
}

#[test]
fn a_mixing_time_after_the_photo_is_refused_before_anything_is_logged() {
    let home = home();
    assert_eq!(enter(&home, &["--wait", "5"]).status, 0);
    let run = read(&home, &["--tank", "porch", "--at", TAKEN, "--mixed-at", "2031-03-04 18:30"]);
    assert_eq!(run.status, 2, "{}", run.out);
    assert!(run.err.contains("before --mixed-at") && run.err.contains("--at"), "{}", run.err);
    assert!(!home.log().exists());
}

/// The picture of a reading of this photo under these flags, drawn from the parts.
fn drawn(photo: &Path, flags: &Value) -> image::RgbImage {
    let photo = tintwell::photo::open(photo).unwrap();
    let shown = Scaled::new(photo.to_srgb());
    let view = pipeline::look(photo).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/rendered-ammonia.json");
    let chart = Chart::load(&shipped).unwrap();
    let mut sightings = Window::all(&view)[0].read(&chart);
    sightings[0].flags = serde_json::from_value(flags.clone()).unwrap();
    picture::draw(&shown, &sightings)
}

#[test]
fn the_picture_shows_the_flags_that_are_printed() {
    let home = home();
    enter(&home, &["--wait", "5", "--temperature", "20..28", "--expires", "2031-03-01"]);
    // A copy without metadata, so without a time.
    let photo = home.path().join("untimed.png");
    image::open(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/photos/series/001.jpg"))
        .unwrap()
        .save(&photo)
        .unwrap();
    let picture = home.path().join("look.png");
    let (photo_name, picture_name) = (photo.display().to_string(), picture.display().to_string());
    let shown = |options: &[&str]| {
        let args = ["read", "--json", "--dry-run", "--chart", "rendered-ammonia", "--picture", &picture_name];
        let run = home.done(args.iter().chain(options).chain(&[photo_name.as_str()]));
        (run.lines()[0]["flags"].clone(), image::open(&picture).unwrap().to_rgb8())
    };
    let (flags, plain) = shown(&[]);
    assert!(flags.to_string().contains("time_unknown"), "{flags}");
    assert_eq!(plain, drawn(&photo, &flags));
    let (flags, doubted) = shown(&["--at", TAKEN, "--mixed-at", "2031-03-04 17:40", "--temperature", "17"]);
    for flag in ["waiting_time_missed", "cold_water", "chart_expired"] {
        assert!(flags.to_string().contains(flag), "{flag}: {flags}");
    }
    assert!(!flags.to_string().contains("time_unknown"), "{flags}");
    assert_eq!(doubted, drawn(&photo, &flags));
    assert_ne!(doubted, plain);
}
