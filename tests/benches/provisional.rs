//! How far off first charts from printed scales read, before and after a blank and one standard are added.
//!
//! `cargo bench --bench provisional -- STANDARDS.csv UNKNOWN.csv` takes tables like those of `calibrate`
//! with the four kits of the shipped charts; without them, the fixtures' (of ammonia alone). Scales are
//! rendered into a photo of each kit's blank, with random misprints; see `src/chart/MEASURED.md`.

#[path = "../suite/support/light.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod light;
#[path = "../suite/support/swatches.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod swatches;

use std::path::{Path, PathBuf};
use std::process::Command;

use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use serde_json::Value;
use swatches::{rendered, squares};
use tintwell::chart::matching::typical_light;
use tintwell::chart::{Chart, shipped};
use tintwell::math::stats;
use tintwell::terms::space::Relative;

const KITS: [&str; 4] = ["ammonia", "nitrite", "nitrate", "ph"];
/// Misprints drawn for each kit.
const PRINTS: u64 = 3;
/// Standard deviations of a channel's gain in absorbance.
const GAINS: [f64; 2] = [0.15, 0.20];
/// Standard deviation of each swatch's channels, decadic absorbance.
const SWATCH_SD: f64 = 0.04;

type Row = (PathBuf, String, f64);

fn main() {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos");
    let given: Vec<PathBuf> =
        std::env::args().skip(1).filter(|word| word.ends_with(".csv")).map(PathBuf::from).collect();
    let [standards, unknown] = <[PathBuf; 2]>::try_from(given)
        .unwrap_or_else(|_| ["ammonia_standards.csv", "unknown.csv"].map(|name| fixtures.join(name)));
    let (standards, unknown) = (rows(&standards), rows(&unknown));
    for gain in GAINS {
        for is_improved in [false, true] {
            let what = if is_improved { "with a blank and one standard" } else { "printed scale alone" };
            println!("gains off by {gain}, {what}");
            for kit in KITS {
                let own: Vec<&Row> = standards.iter().filter(|row| row.1 == kit).collect();
                if own.len() > 2 {
                    tell(kit, &cases(kit, &own, &unknown, gain, is_improved));
                }
            }
        }
    }
}

fn rows(table: &Path) -> Vec<Row> {
    let folder = table.parent().unwrap();
    let mut table = csv::Reader::from_path(table).unwrap();
    let row = |row: csv::StringRecord| (folder.join(&row[0]), row[1].to_owned(), row[2].parse().unwrap());
    table.records().map(|record| row(record.unwrap())).collect()
}

/// What is read with each of a kit's misprinted scales.
fn cases(kit: &str, standards: &[&Row], unknown: &[Row], gain: f64, is_improved: bool) -> Vec<Value> {
    let chart = shipped::find(&format!("rendered-{kit}")).unwrap().unwrap();
    let home = tempfile::tempdir().unwrap();
    let table = home.path().join("unknown.csv");
    let own = unknown.iter().filter(|row| row.1 == kit);
    let text: String = own.map(|(photo, _, value)| format!("{},{kit},{value}\n", photo.display())).collect();
    std::fs::write(&table, format!("photo,analyte,value\n{text}")).unwrap();
    let mut cases = Vec::new();
    for print in 0..PRINTS {
        let scale = home.path().join(format!("{print}.png"));
        let (levels, colours) = misprint(&chart, gain, print);
        let count = colours.len();
        rendered(&standards[0].0, &chart, &colours, squares(count, 9.0, 2.0, false)).save(&scale).unwrap();
        let name = format!("print-{print}");
        let scale = scale.display().to_string();
        run(home.path(), &["calibrate", &name, "--analyte", kit, "--levels", &levels, "--swatches", &scale]);
        if is_improved {
            let middle = standards[standards.len() / 2];
            let [blank, one] = [standards[1], middle].map(|row| format!("{}={}", row.0.display(), row.2));
            run(home.path(), &["calibrate", &name, "--add", &blank, "--add", &one]);
        }
        let table = table.display().to_string();
        let lines = run(home.path(), &["verify", "--json", "--list", "--chart", &name, &table]);
        cases.extend(lines.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()));
    }
    cases.retain(|case| case.get("photo").is_some());
    cases
}

/// A kit's levels and colours as a bad printer lays them down.
fn misprint(chart: &Chart, gain: f64, seed: u64) -> (String, Vec<Relative>) {
    let mut random = Pcg64::seed_from_u64(seed);
    let mut off = |sd: f64| -> f64 { sd * Distribution::<f64>::sample(&StandardNormal, &mut random) };
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let gains: [f64; 3] = std::array::from_fn(|_| (1.0 + off(gain)).max(0.3));
    let mut print = |value: f64| -> Relative {
        let light = typical_light(path, value);
        std::array::from_fn(|k| light[k].powf(gains[k]) * 10_f64.powf(-off(SWATCH_SD)))
    };
    let colours = path.levels.iter().map(|&value| print(value)).collect();
    (path.levels.iter().map(f64::to_string).collect::<Vec<_>>().join(","), colours)
}

fn run(home: &Path, words: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
    let output = command.arg("--home").arg(home).args(words).output().unwrap();
    if output.status.code() == Some(2) {
        println!("  {words:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
    String::from_utf8(output.stdout).unwrap()
}

fn tell(kit: &str, cases: &[Value]) {
    let number = |case: &Value, name: &str| case[name].as_f64();
    let errors: Vec<f64> =
        cases.iter().filter_map(|case| number(case, "error_steps")).map(f64::abs).collect();
    let held: Vec<bool> = cases.iter().filter_map(|case| case["held"].as_bool()).collect();
    // A step is what the error in units is of the error in steps.
    let width = |case: &Value| {
        let step = number(case, "error")? / number(case, "error_steps").filter(|steps| *steps != 0.0)?;
        Some((number(case, "high")? - number(case, "low")?) / step)
    };
    let widths: Vec<f64> = cases.iter().filter_map(width).collect();
    let is_gross = |case: &&Value| {
        case["held"] == false && number(case, "error_steps").is_none_or(|steps| steps.abs() > 1.0)
    };
    println!(
        "  {kit}: {} readings, {} refused, median error {:.2} step, held in {:.0} %, {} gross, median interval {:.1} steps",
        cases.len(),
        cases.iter().filter(|case| case["status"] == "refused").count(),
        stats::median(&errors).unwrap_or(f64::NAN),
        100.0 * held.iter().filter(|held| **held).count() as f64 / held.len() as f64,
        cases.iter().filter(is_gross).count(),
        stats::median(&widths).unwrap_or(f64::NAN),
    );
}
