//! What becomes of the verdict when readings are missing or noisier: it must turn to "not shown", never to a
//! false "ready".
//!
//! The histories are simulated (`fixtures/cycles`). A third of the readings is dropped, and noise of two
//! thirds of each reading's own error is added, by a fixed seed.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;

use tintwell::cycle::faults::find_faults;
use tintwell::cycle::proof::{Outcome, latest_proof};
use tintwell::cycle::{TankHistory, assess};
use tintwell::reading::Measurement;

use crate::support::cycles::{simulated, truths};

fn impoverished(history: &TankHistory, seed: u64) -> TankHistory {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let mut poor = history.clone();
    poor.measurements.retain(|_| rng.random_bool(2.0 / 3.0));
    for measurement in &mut poor.measurements {
        blur(measurement, &mut rng);
    }
    poor
}

fn blur(measurement: &mut Measurement, rng: &mut Pcg64Mcg) {
    let (Some(value), Some(low), Some(high)) = (measurement.value, measurement.low, measurement.high) else {
        return;
    };
    let sd = (high - value).max(value - low) / 1.96;
    let noise = Normal::new(0.0, 0.67 * sd).unwrap().sample(rng);
    let blurred = (value + noise).max(0.0);
    // The interval stays honest: it widens by what was added.
    measurement.low = Some((blurred - 1.2 * (value - low)).max(0.0));
    measurement.high = Some(blurred + 1.2 * (high - value));
    measurement.value = Some(blurred);
}

#[test]
fn a_poorer_log_never_makes_a_tank_ready_that_is_not() {
    let not_ready: Vec<_> = truths().into_iter().filter(|truth| truth["proof_true_now"] == "false").collect();
    assert!(not_ready.len() > 40);
    let falsely_ready: Vec<String> = not_ready
        .par_iter()
        .filter(|truth| {
            let (history, now) = simulated(&truth["tank"]);
            let poor = impoverished(&history, 5);
            let found = find_faults(&poor, now);
            // Ready needs a passed proof: only then is the whole judgement worth its time here.
            let passed = latest_proof(&found.series, &poor.facts, &found.track)
                .is_some_and(|proof| proof.outcome == Outcome::Passed);
            passed && assess(&poor, now).ready
        })
        .map(|truth| truth["tank"].clone())
        .collect();
    assert!(falsely_ready.is_empty(), "{falsely_ready:?}");
}
