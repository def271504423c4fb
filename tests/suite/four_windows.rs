//! Several vials in one photo of the card with four windows, through the commands.
//!
//! No such photo exists: all are rendered from the crate's own layout (`support/vials.rs`), with
//! invented dyes. Charts are made from rendered photos of standards, four vials to a photo.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use serde_json::Value;
use tintwell::card::layout::{VERSION_1, VERSION_2};

const WARM: [f64; 3] = [0.92, 0.80, 0.62];
const NEUTRAL: [f64; 3] = [0.85, 0.86, 0.84];
const AT: &str = "2031-03-04T18:05:00+01:00";

/// Invented dyes: the share that has reacted moves along a bending path from one colour to another.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kit {
    Ammonia,
    Nitrite,
    Nitrate,
}

use Kit::{Ammonia, Nitrate, Nitrite};

use crate::support::home::{Home, Run};
use crate::support::vials::{Scene, Vial};

impl Kit {
    const ALL: [Self; 3] = [Ammonia, Nitrite, Nitrate];

    fn analyte(self) -> &'static str {
        match self {
            Ammonia => "ammonia",
            Nitrite => "nitrite",
            Nitrate => "nitrate",
        }
    }

    fn chart(self) -> String {
        format!("{}-four", self.analyte())
    }

    fn levels(self) -> [f64; 7] {
        match self {
            Ammonia => [0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0],
            Nitrite => [0.0, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0],
            Nitrate => [0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0],
        }
    }

    fn absorbance(self, value: f64) -> [f64; 3] {
        let share = |half: f64| value / (value + half);
        match self {
            Ammonia => [0.04 + 0.9 * share(3.0), 0.05 + 0.15 * share(3.0), 0.40 - 0.05 * share(3.0)],
            Nitrite => [0.12 + 0.05 * share(1.5), 0.05 + 1.0 * share(1.5), 0.02 + 0.35 * share(1.5)],
            Nitrate => [0.03 + 0.06 * share(50.0), 0.08 + 0.9 * share(50.0), 0.30 + 0.45 * share(50.0)],
        }
    }
}

/// A vial before a window, or before a place given as a window's number and a shift in mm.
fn vial(window: usize, shift: f64, width: f64, kit: Kit, value: f64) -> Vial {
    let x = VERSION_2.windows[window - 1].centre().x + shift;
    Vial { x, width, absorbance: kit.absorbance(value) }
}

fn scene(vials: Vec<Vial>, light: [f64; 3], seed: u64) -> Scene {
    Scene { layout: &VERSION_2, vials, strips: Vec::new(), light, seed }
}

/// A folder with the photos of standards, their tables and the charts made from them.
struct Charts {
    folder: PathBuf,
}

static CHARTS: LazyLock<Charts> = LazyLock::new(|| {
    let charts = Charts { folder: Path::new(env!("CARGO_TARGET_TMPDIR")).join("four-windows") };
    std::fs::create_dir_all(&charts.folder).unwrap();
    for (k, kit) in Kit::ALL.into_iter().enumerate() {
        let table = charts.standards(kit, 100 * k as u64);
        let args = ["calibrate", &kit.chart(), "--standards", &table, "--out", &charts.chart(kit)];
        let run = Home::new().done(args);
        assert!(!run.err.contains("left out"), "{}", run.err);
    }
    charts
});

impl Charts {
    fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    fn chart(&self, kit: Kit) -> String {
        self.path(&format!("{}.json", kit.chart())).display().to_string()
    }

    /// Photos of every level twice, four vials to a photo; the last photo has two empty windows.
    fn standards(&self, kit: Kit, seed: u64) -> String {
        let mut table = "photo,analyte,value,window\n".to_owned();
        let levels: Vec<f64> = kit.levels().into_iter().chain(kit.levels()).collect();
        for (k, four) in levels.chunks(4).enumerate() {
            let name = format!("{}-{k}.png", kit.analyte());
            let vials = four.iter().enumerate().map(|(w, value)| vial(w + 1, 0.0, 16.0, kit, *value));
            let light = if k % 2 == 0 { NEUTRAL } else { [0.88, 0.83, 0.74] };
            scene(vials.collect(), light, seed + k as u64).save(&self.path(&name));
            for (w, value) in four.iter().enumerate() {
                writeln!(table, "{name},{},{value},{}", kit.analyte(), w + 1).unwrap();
            }
        }
        let file = self.path(&format!("{}.csv", kit.analyte()));
        std::fs::write(&file, table).unwrap();
        file.display().to_string()
    }
}

/// Reads a rendered photo with a chart for each window.
fn read(photo: &Path, kits: &[Kit]) -> Run {
    read_by(photo, kits.iter().map(|kit| CHARTS.chart(*kit)))
}

/// Reads a rendered photo with what is told for each window.
fn read_by(photo: &Path, charts: impl IntoIterator<Item = String>) -> Run {
    let mut args = vec!["read".to_owned(), "--json".to_owned(), "--dry-run".to_owned()];
    for chart in charts {
        args.extend(["--chart".to_owned(), chart]);
    }
    args.push(photo.display().to_string());
    Home::new().run(args)
}

fn read_scene(scene: &Scene, kits: &[Kit]) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("vials.png");
    scene.save(&photo);
    read(&photo, kits)
}

/// A line is a reading of this kit whose interval holds the value, and which is no wider than the value
/// is worth.
#[track_caller]
fn assert_read(line: &Value, kit: Kit, truth: f64) {
    assert_eq!(line["status"], "read", "{line}");
    assert_eq!(line["analyte"], kit.analyte(), "{line}");
    assert_eq!(line["chart"], kit.chart(), "{line}");
    let (low, high) = (line["low"].as_f64().unwrap(), line["high"].as_f64().unwrap());
    assert!(low <= truth && truth <= high, "{truth}: {line}");
    assert!(high - low < 2.0 * truth, "{truth}: {line}");
}

fn middle(line: &Value) -> f64 {
    line["sample"]["x"].as_f64().unwrap() + line["sample"]["width"].as_f64().unwrap() / 2.0
}

fn four(light: [f64; 3], seed: u64) -> Scene {
    let vials = vec![
        vial(1, 0.0, 16.0, Ammonia, 1.5),
        vial(2, 2.0, 16.0, Nitrite, 0.7),
        vial(3, -2.0, 16.0, Nitrate, 30.0),
        vial(4, 1.0, 16.0, Ammonia, 3.0),
    ];
    scene(vials, light, seed)
}

#[test]
fn four_vials_are_read_in_their_windows_under_any_light() {
    for (light, seed) in [(NEUTRAL, 1), (WARM, 2)] {
        let run = read_scene(&four(light, seed), &[Ammonia, Nitrite, Nitrate, Ammonia]);
        assert_eq!(run.status, 0, "{}{}", run.out, run.err);
        let lines = run.lines();
        assert_eq!(lines.len(), 4, "{}", run.out);
        assert_read(&lines[0], Ammonia, 1.5);
        assert_read(&lines[1], Nitrite, 0.7);
        assert_read(&lines[2], Nitrate, 30.0);
        assert_read(&lines[3], Ammonia, 3.0);
        assert!(lines.windows(2).all(|pair| middle(&pair[0]) < middle(&pair[1])), "{}", run.out);
    }
}

#[test]
fn a_photo_upside_down_is_read_alike() {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("turned.png");
    image::imageops::rotate180(&four(WARM, 3).render()).save(&photo).unwrap();
    let lines = read(&photo, &[Ammonia, Nitrite, Nitrate, Ammonia]).lines();
    assert_eq!(lines.len(), 4);
    assert_read(&lines[0], Ammonia, 1.5);
    assert_read(&lines[1], Nitrite, 0.7);
    assert_read(&lines[2], Nitrate, 30.0);
    assert_read(&lines[3], Ammonia, 3.0);
}

#[test]
fn empty_windows_are_said_and_the_others_read() {
    let vials = vec![vial(1, 0.0, 16.0, Nitrate, 15.0), vial(4, 0.0, 20.0, Nitrite, 0.35)];
    let run = read_scene(&scene(vials, NEUTRAL, 4), &[Nitrate, Ammonia, Ammonia, Nitrite]);
    let lines = run.lines();
    assert_eq!((run.status, lines.len()), (0, 2), "{}{}", run.out, run.err);
    assert_read(&lines[0], Nitrate, 15.0);
    assert_read(&lines[1], Nitrite, 0.35);
    assert!(run.err.contains("window 2 from the left is empty"), "{}", run.err);
    assert!(run.err.contains("window 3 from the left is empty"), "{}", run.err);
    let run = read_scene(&scene(Vec::new(), NEUTRAL, 5), &[Nitrate, Ammonia, Ammonia, Nitrite]);
    assert_eq!((run.status, run.lines().len()), (2, 1), "{}", run.out);
    assert!(run.lines()[0]["analyte"].is_null() && run.out.contains("stand a vial"), "{}", run.out);
}

/// Reads a rendered photo with a chart, or the word for a window that stays empty, for each window.
fn read_some(scene: &Scene, kits: &[Option<Kit>]) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("vials.png");
    scene.save(&photo);
    read_by(&photo, kits.iter().map(|kit| kit.map_or("none".to_owned(), |kit| CHARTS.chart(kit))))
}

#[test]
fn a_window_whose_chart_is_none_is_left_out_and_a_vial_before_it_is_said() {
    let vials = || vec![vial(1, 0.0, 16.0, Nitrate, 15.0), vial(4, 0.0, 20.0, Nitrite, 0.35)];
    let run = read_some(&scene(vials(), NEUTRAL, 4), &[Some(Nitrate), None, None, Some(Nitrite)]);
    let lines = run.lines();
    assert_eq!((run.status, lines.len()), (0, 2), "{}{}", run.out, run.err);
    assert_read(&lines[0], Nitrate, 15.0);
    assert_read(&lines[1], Nitrite, 0.35);
    assert!(!run.err.contains("window"), "{}", run.err);
    let run = read_some(&scene(vials(), NEUTRAL, 4), &[Some(Nitrate), None, None, None]);
    assert_eq!((run.status, run.lines().len()), (0, 1), "{}{}", run.out, run.err);
    assert_read(&run.lines()[0], Nitrate, 15.0);
    let said = "something stands before window 4 from the left, but its chart is `none`";
    assert!(run.err.contains(said) && run.err.matches("window").count() == 1, "{}", run.err);
    let run = read_some(&scene(vials(), NEUTRAL, 4), &[None, Some(Nitrate), Some(Nitrate), None]);
    assert_eq!((run.status, run.lines().len()), (2, 1), "{}", run.out);
    assert!(run.out.contains("windows of the card that have a chart are empty"), "{}", run.out);
}

#[test]
fn no_chart_for_any_window_or_for_the_only_one_is_refused() {
    let run = read_some(&four(NEUTRAL, 7), &[None; 4]);
    assert_eq!((run.status, run.out.as_str()), (2, ""), "{}", run.err);
    assert!(run.err.contains("at least one window"), "{}", run.err);
    let vials = vec![Vial { x: 75.0, width: 14.0, absorbance: Ammonia.absorbance(1.0) }];
    let single = Scene { layout: &VERSION_1, vials, strips: Vec::new(), light: NEUTRAL, seed: 10 };
    let run = read_some(&single, &[None]);
    assert_eq!((run.status, run.out.as_str()), (2, ""), "{}", run.err);
    assert!(run.err.contains("a card of one window needs its chart"), "{}", run.err);
    let run = read_some(&single, &[Some(Ammonia), None]);
    assert_eq!((run.status, run.lines().len()), (2, 1), "{}", run.out);
    assert!(run.out.contains("the card has one window, so none of the charts can be `none`"), "{}", run.out);
}

#[test]
fn no_chart_can_be_made_under_the_word_for_none() {
    let table = CHARTS.path("ammonia.csv").display().to_string();
    let run = Home::new().run(["calibrate", "none", "--standards", &table]);
    assert_eq!(run.status, 2, "{}", run.out);
    assert!(run.err.contains("cannot be a chart's name"), "{}", run.err);
}

#[test]
fn charts_go_to_the_windows_in_their_order() {
    let vials = vec![vial(1, 0.0, 16.0, Nitrate, 30.0), vial(2, 0.0, 16.0, Ammonia, 1.5)];
    let photo = scene(vials, NEUTRAL, 6);
    let lines = read_scene(&photo, &[Nitrate, Ammonia, Nitrite, Nitrite]).lines();
    assert_read(&lines[0], Nitrate, 30.0);
    assert_read(&lines[1], Ammonia, 1.5);
    // The wrong way round the colours are none of the charts'.
    let run = read_scene(&photo, &[Nitrite, Nitrite, Nitrate, Ammonia]);
    assert!(run.lines().iter().all(|line| line["status"] == "refused"), "{}", run.out);
    assert!(run.out.contains("window 1 from the left: the sample's colour is none of chart"), "{}", run.out);
}

#[test]
fn too_few_or_too_many_charts_are_refused_with_the_mend() {
    for count in [1, 3, 5] {
        let run = read_scene(&four(NEUTRAL, 7), &vec![Ammonia; count]);
        assert_eq!((run.status, run.lines().len()), (2, 1), "{}", run.out);
        let reason = run.lines()[0]["reason"].as_str().unwrap().to_owned();
        assert!(reason.contains("4 windows") && reason.contains("from the left"), "{reason}");
    }
}

#[test]
fn a_vial_between_two_windows_is_refused_at_both_and_others_are_read() {
    for width in [14.0, 18.0, 22.0] {
        let vials = vec![vial(1, 22.0, width, Ammonia, 1.5), vial(4, 0.0, 16.0, Nitrite, 0.7)];
        let run = read_scene(&scene(vials, NEUTRAL, 8), &[Ammonia, Ammonia, Nitrate, Nitrite]);
        let lines = run.lines();
        assert_eq!((run.status, lines.len()), (1, 3), "{width}: {}{}", run.out, run.err);
        for line in &lines[..2] {
            let reason = line["reason"].as_str().unwrap();
            assert!(reason.contains("outside the card's framed window"), "{width}: {reason}");
        }
        assert_read(&lines[2], Nitrite, 0.7);
    }
}

#[test]
fn two_vials_before_one_window_are_refused() {
    let vials = vec![
        vial(2, -7.6, 13.0, Ammonia, 1.0),
        vial(2, 7.6, 13.0, Ammonia, 4.0),
        vial(3, 0.0, 16.0, Nitrate, 30.0),
    ];
    let run = read_scene(&scene(vials, NEUTRAL, 9), &[Ammonia, Ammonia, Nitrate, Nitrite]);
    let lines = run.lines();
    assert_eq!((run.status, lines.len()), (1, 2), "{}", run.out);
    assert!(lines[0]["reason"].as_str().unwrap().contains("more than one vial"), "{}", run.out);
    assert_read(&lines[1], Nitrate, 30.0);
}

#[test]
fn the_card_of_one_window_still_refuses_two_vials() {
    let at = |x: f64| Vial { x, width: 14.0, absorbance: Ammonia.absorbance(1.0) };
    for places in [[66.0, 84.0], [75.0, 108.0]] {
        let vials = places.map(at).to_vec();
        let run = read_scene(
            &Scene { layout: &VERSION_1, vials, strips: Vec::new(), light: NEUTRAL, seed: 10 },
            &[Ammonia],
        );
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.out.contains("more than one vial"), "{}", run.out);
    }
}

/// Two vials of 8 to 13 mm that touch are together no wider than one of the widest.
#[test]
fn two_narrow_vials_that_touch_are_refused_and_one_as_wide_is_read() {
    for (first, second, seed) in [(8.5, 8.5, 31), (13.0, 13.0, 32), (10.0, 13.0, 33)] {
        for values in [(0.0, 0.0), (0.5, 6.0)] {
            let touching =
                |value: f64, x: f64, width: f64| Vial { x, width, absorbance: Ammonia.absorbance(value) };
            let seam = 74.0;
            let vials = vec![
                touching(values.0, seam - first / 2.0, first),
                touching(values.1, seam + second / 2.0, second),
            ];
            let run = read_scene(
                &Scene { layout: &VERSION_1, vials, strips: Vec::new(), light: NEUTRAL, seed },
                &[Ammonia],
            );
            assert_eq!(run.status, 2, "{first} {second} {values:?} {}", run.out);
            assert!(run.out.contains("more than one vial"), "{first} {second} {values:?} {}", run.out);
        }
        let whole =
            |value: f64| Vial { x: 74.0, width: first + second, absorbance: Ammonia.absorbance(value) };
        for value in [0.0, 6.0] {
            let run = read_scene(
                &Scene {
                    layout: &VERSION_1,
                    vials: vec![whole(value)],
                    strips: Vec::new(),
                    light: NEUTRAL,
                    seed,
                },
                &[Ammonia],
            );
            assert!(!run.out.contains("more than one vial"), "{first} {second} {value} {}", run.out);
        }
    }
}

#[test]
fn verify_takes_the_window_of_each_row_and_says_what_it_misses() {
    let table = CHARTS.path("ammonia.csv").display().to_string();
    let chart = CHARTS.chart(Ammonia);
    let run = Home::new().done(["verify", &table, "--chart", &chart, "--list", "--json"]);
    assert_eq!(run.out.lines().filter(|line| line.contains("\"photo\"")).count(), 14, "{}", run.out);
    let check = |cell: &str, words: &str| {
        let table = CHARTS.path(&format!("check{cell}.csv"));
        std::fs::write(&table, format!("photo,analyte,value,window\nammonia-0.png,ammonia,0.25,{cell}\n"))
            .unwrap();
        let run = Home::new().run(["verify", &table.display().to_string(), "--chart", &chart, "--list"]);
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(format!("{}{}", run.out, run.err).contains(words), "{}{}", run.out, run.err);
    };
    check("", "add a column window");
    check("5", "no window 5");
    check("0", "count the card's windows");
}

#[test]
fn import_logs_every_vial_of_a_photo_once() {
    let home = Home::new();
    std::fs::create_dir_all(home.path().join("photos")).unwrap();
    let photo = home.path().join("photos").join("2031-03-04 18.05.00.png");
    let vials = vec![vial(1, 0.0, 16.0, Ammonia, 1.5), vial(3, 0.0, 16.0, Nitrate, 30.0)];
    scene(vials, NEUTRAL, 11).save(&photo);
    let mut args = vec!["import".to_owned(), "--tank".to_owned(), "porch".to_owned()];
    for kit in [Ammonia, Nitrite, Nitrate, Nitrite] {
        args.extend(["--chart".to_owned(), CHARTS.chart(kit)]);
    }
    args.push(photo.parent().unwrap().display().to_string());
    for _ in 0..2 {
        let run = home.done(&args);
        assert!(
            run.out.contains("photos: 1 logged (2 readings)") || run.out.contains("1 known"),
            "{}",
            run.out
        );
    }
    let lines = home.done(["log", "--json"]).lines();
    assert_eq!(lines.len(), 2, "{lines:?}");
    assert!(lines.iter().any(|line| line["analyte"] == "ammonia"));
    assert!(lines.iter().any(|line| line["analyte"] == "nitrate"));
}

#[test]
fn own_charts_are_tried_at_every_window_and_all_vials_logged() {
    let home = Home::new();
    std::fs::create_dir_all(home.path().join("calibration")).unwrap();
    for kit in [Ammonia, Nitrate] {
        let own = home.path().join("calibration").join(format!("{}.json", kit.chart()));
        std::fs::copy(CHARTS.chart(kit), own).unwrap();
    }
    let photo = home.path().join("vials.png");
    scene(vec![vial(2, 0.0, 16.0, Ammonia, 4.0), vial(3, 0.0, 16.0, Nitrate, 60.0)], NEUTRAL, 12)
        .save(&photo);
    let photo = photo.display().to_string();
    let lines = home.done(["read", "--json", "--tank", "porch", "--at", AT, &photo]).lines();
    assert_eq!(lines.len(), 2);
    assert_read(&lines[0], Ammonia, 4.0);
    assert_read(&lines[1], Nitrate, 60.0);
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2);
}
