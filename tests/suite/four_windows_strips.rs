//! Dip strips lying in the windows of the card with four, through the commands. All photos are rendered
//! from the crate's own layout (`support/vials.rs`), with invented pads: they prove nothing of a real strip.

use std::fmt::Write as _;
use std::path::Path;

use tintwell::card::layout::VERSION_2;

use crate::support::home::{Home, Run};
use crate::support::vials::{Scene, Strip, Vial};

const ANALYTES: [&str; 3] = ["nitrate", "nitrite", "ammonia"];
const LEVELS: [[f64; 5]; 3] =
    [[0.0, 10.0, 40.0, 80.0, 160.0], [0.0, 0.5, 1.0, 2.0, 5.0], [0.0, 0.5, 1.0, 3.0, 6.0]];

/// Light that a pad sends back: its dye reacts as far as half of it has at a third of the last level.
fn pad(pad: usize, value: f64) -> [f64; 3] {
    let share = value / (value + LEVELS[pad][4] / 3.0);
    let dye = [[0.05, 0.75, 0.55], [0.08, 0.85, 0.30], [0.70, 0.12, 0.35]][pad];
    dye.map(|absorbance| 0.80 * 10_f64.powf(-share * absorbance))
}

/// A strip in a window, its pads at these values.
fn strip(window: usize, shift: f64, values: [f64; 3]) -> Strip {
    let rect = VERSION_2.windows[window - 1];
    Strip {
        x: rect.centre().x + shift,
        tip: rect.y0 + 7.0,
        pads: values.iter().enumerate().map(|(k, value)| pad(k, *value)).collect(),
    }
}

fn scene(strips: Vec<Strip>, vials: Vec<Vial>, seed: u64) -> Scene {
    Scene { layout: &VERSION_2, vials, strips, light: [0.88, 0.85, 0.78], seed }
}

/// Photos of every level twice, four strips to a photo, their table, and whether it tells the windows.
fn standards(folder: &Path, tells_windows: bool) -> String {
    let mut table =
        if tells_windows { "photo,analyte,value,window\n" } else { "photo,analyte,value\n" }.to_owned();
    let levels: Vec<usize> = (0..10).map(|k| k % 5).collect();
    for (photo, four) in levels.chunks(4).enumerate() {
        let values = |level: usize| std::array::from_fn(|k| LEVELS[k][level]);
        let strips = four.iter().enumerate().map(|(w, level)| strip(w + 1, 0.0, values(*level)));
        let name = format!("standards-{photo}.png");
        scene(strips.collect(), Vec::new(), 40 + photo as u64).save(&folder.join(&name));
        let told = if tells_windows { four } else { &four[..1] };
        for (w, level) in told.iter().enumerate() {
            for (analyte, levels) in ANALYTES.iter().zip(LEVELS) {
                let window = if tells_windows { format!(",{}", w + 1) } else { String::new() };
                writeln!(table, "{name},{analyte},{}{window}", levels[*level]).unwrap();
            }
        }
    }
    let file = folder.join("standards.csv");
    std::fs::write(&file, table).unwrap();
    file.display().to_string()
}

fn calibrate(home: &Home, tells_windows: bool) -> Run {
    let table = standards(home.path(), tells_windows);
    home.run(["calibrate", "strip-four", "--form", "strip", "--standards", &table])
}

fn read(home: &Home, scene: &Scene, charts: [&str; 4]) -> Run {
    let photo = home.path().join("unknown.png");
    scene.save(&photo);
    let photo = photo.display().to_string();
    let charts = charts.iter().flat_map(|chart| ["--chart", chart]);
    home.run(["read", "--json", "--dry-run"].into_iter().chain(charts).chain([photo.as_str()]))
}

#[test]
fn strips_are_read_in_their_windows_and_empty_ones_are_said() {
    let home = Home::new();
    let made = calibrate(&home, true);
    assert_eq!(made.status, 0, "{}{}", made.out, made.err);
    let known = [[25.0, 0.7, 2.0], [60.0, 1.6, 0.7]];
    let strips = vec![strip(2, 2.0, known[0]), strip(3, -3.0, known[1])];
    let run = read(&home, &scene(strips, Vec::new(), 51), ["strip-four"; 4]);
    assert_eq!(run.status, 0, "{}{}", run.out, run.err);
    let lines = run.lines();
    assert_eq!(lines.len(), 6, "{}", run.out);
    for (k, line) in lines.iter().enumerate() {
        let value = known[k / 3][k % 3];
        assert_eq!((&line["status"], &line["analyte"]), (&"read".into(), &ANALYTES[k % 3].into()), "{line}");
        let held = line["low"].as_f64().unwrap()..=line["high"].as_f64().unwrap();
        assert!(held.contains(&value) && held.end() - held.start() < 2.0 * value, "{value}: {line}");
    }
    for empty in [1, 4] {
        assert!(run.err.contains(&format!("window {empty} from the left is empty")), "{}", run.err);
    }
    let run = read(&home, &scene(Vec::new(), Vec::new(), 52), ["strip-four"; 4]);
    assert!(run.status == 2 && run.out.contains("lay a strip into it"), "{}", run.out);
}

#[test]
fn a_vial_in_place_of_a_strip_gives_no_number() {
    let home = Home::new();
    assert_eq!(calibrate(&home, true).status, 0);
    let x = VERSION_2.windows[1].centre().x;
    let vial = Vial { x, width: 16.0, absorbance: [0.1, 0.6, 0.3] };
    let photo = scene(vec![strip(3, 0.0, [25.0, 0.7, 2.0])], vec![vial], 53);
    let run = read(&home, &photo, ["none", "strip-four", "strip-four", "none"]);
    let lines = run.lines();
    assert_eq!((run.status, lines.len()), (1, 6), "{}{}", run.out, run.err);
    for line in &lines[..3] {
        assert_eq!(line["status"], "refused", "{line}");
        assert!(line["reason"].as_str().unwrap().starts_with("window 2 from the left"), "{line}");
    }
    assert!(lines[3..].iter().all(|line| line["status"] == "read"), "{}", run.out);
}

#[test]
fn a_table_of_strips_that_does_not_tell_the_window_says_how_to_mend_it() {
    let run = calibrate(&Home::new(), false);
    assert_eq!(run.status, 2, "{}", run.out);
    assert!(run.err.contains("add a column window"), "{}", run.err);
}
