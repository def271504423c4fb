//! The second model: how long its tanks take, its climatology, and sets of its histories as files.
//!
//! `TINTWELL_FIT=4000 cargo bench --bench climatology` fits the table of `cycle/forecast/climatology.rs` anew to
//! so many histories and prints it. `TINTWELL_WRITE=FOLDER TINTWELL_SEED=7 TINTWELL_COUNT=400` writes a set that
//! `TINTWELL_HISTORIES=FOLDER cargo bench --bench forecast` takes; sets 2 and 3 are those of the fit and of the
//! choice of weights. Without either it holds the shipped table against a few histories of the fit.

#[path = "support/other_model/mod.rs"]
mod other_model;

use std::path::PathBuf;

use nalgebra::{DMatrix, DVector};
use other_model::{Judged, follow, start_up};
use rayon::prelude::*;
use tintwell::cycle::forecast::{Filter, Line, Settings, Signs, TABLE};

/// The set that the table is fitted to.
const FITTED: u64 = 2;
/// Possible tanks that follow each of its histories: middle values need no more.
const PARTICLES: usize = 10_000;

fn main() {
    if let Some(folder) = std::env::var_os("TINTWELL_WRITE").map(PathBuf::from) {
        let seed = from_environment("TINTWELL_SEED").unwrap_or(7);
        let histories = set(seed, from_environment("TINTWELL_COUNT").unwrap_or(400));
        other_model::write(&folder, &histories).expect("a folder to write to");
        println!("{} histories of set {seed} written", histories.len());
        return;
    }
    print_start_ups();
    let count = from_environment("TINTWELL_FIT");
    let examples: Vec<Example> =
        set(FITTED, count.unwrap_or(100)).par_iter().filter_map(Example::of).collect();
    for (phase, shipped) in TABLE.iter().enumerate() {
        let chosen: Vec<&Example> = examples.iter().filter(|example| example.phase() == phase).collect();
        println!(
            "phase {phase}: {} histories, spread about the shipped line {:.3}",
            chosen.len(),
            spread(shipped, &chosen)
        );
        if count.is_some() {
            print_line(&fitted(&chosen));
        }
    }
}

/// A number from the environment.
fn from_environment<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok()?.parse().ok()
}

/// Histories of one set.
fn set(seed: u64, count: u64) -> Vec<Judged> {
    let one = |index: u64| follow(&format!("tank_{:03}", index + 1), 1_000_000 * seed + index);
    (0..count).into_par_iter().map(one).collect()
}

/// A tank that passes later: how it stands, and the logarithm of one day and the days that were left.
struct Example {
    signs: Signs,
    log_days: f64,
}

impl Example {
    fn of(judged: &Judged) -> Option<Self> {
        let days = judged.days.filter(|days| *days > 0.0)?;
        let settings = Settings { particles: PARTICLES, ..Settings::default() };
        let posterior = Filter::run(&judged.history, judged.now, &settings);
        // A tenth of the possible tanks must pass in the end, or there are no days to weigh.
        (posterior.never() <= 0.9).then(|| Self { signs: *posterior.signs(), log_days: days.ln_1p() })
    }

    fn phase(&self) -> usize {
        self.signs.phase as usize
    }
}

/// Least squares.
fn fitted(examples: &[&Example]) -> Line {
    let numbers: Vec<f64> = examples.iter().flat_map(|example| example.signs.numbers()).collect();
    let mut line = TABLE[0];
    let rows = DMatrix::from_row_slice(examples.len(), line.slopes.len(), &numbers);
    let days = DVector::from_iterator(examples.len(), examples.iter().map(|example| example.log_days));
    let slopes = rows.svd(true, true).solve(&days, 1e-12).expect("both sides of the decomposition");
    line.slopes.copy_from_slice(slopes.as_slice());
    Line { spread: spread(&line, examples), ..line }
}

/// Root of the mean square about `line`.
fn spread(line: &Line, examples: &[&Example]) -> f64 {
    let off = |example: &&Example| {
        let numbers = example.signs.numbers();
        example.log_days - line.slopes.iter().zip(numbers).map(|(slope, number)| slope * number).sum::<f64>()
    };
    (examples.iter().map(|example| off(example).powi(2)).sum::<f64>() / examples.len() as f64).sqrt()
}

fn print_line(line: &Line) {
    let slopes: Vec<String> = line.slopes.iter().map(|slope| format!("{slope:.4}")).collect();
    println!("    Line {{ slopes: [{}], spread: {:.3} }},", slopes.join(", "), line.spread);
}

/// The published 20 to 45 days are those of tanks without seeding at about 25 degrees.
fn print_start_ups() {
    let all: Vec<_> = (0..1500).into_par_iter().map(start_up).collect();
    for seeding in ["none", "bottled_bacteria", "mature_medium"] {
        let usual = all.iter().filter(|(facts, _)| {
            facts.seeding.as_deref() == Some(seeding)
                && facts.ammonia_source.as_deref().is_some_and(|source| source.starts_with("ammoni"))
                && facts.tap.alkalinity_meq_l.is_some_and(|alkalinity| alkalinity >= 2.0)
                && facts.temperature_c.is_some_and(|celsius| (23.0..27.0).contains(&celsius))
        });
        let mut days: Vec<f64> = usual.map(|(_, days)| days.unwrap_or(f64::INFINITY)).collect();
        days.sort_by(f64::total_cmp);
        let at = |share: f64| days[(share * (days.len() - 1) as f64) as usize];
        println!(
            "{seeding:<16} {} dosed tanks at 23 to 27 degC, 2 meq/L or more: a tenth ready by day {:.0}, half by {:.0}, three quarters by {:.0}",
            days.len(),
            at(0.1),
            at(0.5),
            at(0.75),
        );
    }
}
