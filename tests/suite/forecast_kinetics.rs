//! The kinetic model against a general-purpose solver, closed forms and published values.

use std::collections::BTreeMap;

use approx::assert_relative_eq;
use proptest::prelude::*;
use tintwell::cycle::kinetics::{Conditions, Kinetics, State, advance, prior, step};

/// The constants of `fixtures/kinetics/reference.py`.
const KINETICS: Kinetics<f64> = Kinetics {
    growth_a: 0.6,
    growth_n: 0.7,
    half_a: 0.4,
    half_n: 0.35,
    oxygen_a: 0.6,
    oxygen_n: 1.1,
    decay_a: 0.05,
    decay_n: 0.06,
    full_a: 15.0,
    full_n: 15.0,
    warmth_a: 0.088,
    warmth_n: 0.065,
    free_ammonia_a: 9.0,
    free_ammonia_n: 0.6,
    nitrous_acid_a: 0.2,
    nitrous_acid_n: 0.06,
    acid_a: 6.3e-7,
    acid_n: 6.3e-7,
    half_alkalinity: 0.1,
    carbonic: 7.5e-8,
    breakdown: 0.5,
    oxygen_share: 0.9,
};

/// One row of the reference: conditions, day and state.
struct Row {
    conditions: Conditions<f64>,
    day: f64,
    state: State<f64>,
}

/// The reference solutions by scenario (scipy 1.17.1, LSODA, rtol 1e-10; the script lies beside them).
fn reference() -> BTreeMap<String, Vec<Row>> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kinetics/reference.csv");
    let mut scenarios: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    for record in csv::Reader::from_path(path).unwrap().records() {
        let record = record.unwrap();
        let number = |column: usize| record[column].parse::<f64>().unwrap();
        let conditions = Conditions::at(number(1), &KINETICS).with_life(number(2), number(3));
        let state = State {
            ammonia: number(5),
            nitrite: number(6),
            nitrate: number(7),
            organic: number(8),
            assimilated: number(9),
            alkalinity: number(10),
            ammonia_oxidisers: number(11),
            nitrite_oxidisers: number(12),
        };
        scenarios.entry(record[0].to_owned()).or_default().push(Row { conditions, day: number(4), state });
    }
    scenarios
}

/// Largest difference from the reference, relative to the value or to `floor` mg/L.
fn worst_difference(rows: &[Row], longest_step: f64, floor: f64) -> f64 {
    let mut state = rows[0].state;
    let mut worst = 0f64;
    for pair in rows.windows(2) {
        advance(&mut state, &KINETICS, &pair[1].conditions, pair[1].day - pair[0].day, longest_step);
        for (ours, theirs) in state.to_array().into_iter().zip(pair[1].state.to_array()) {
            worst = worst.max((ours - theirs).abs() / theirs.abs().max(floor));
        }
    }
    worst
}

#[test]
fn the_integrator_converges_on_the_reference_solver() {
    let scenarios = reference();
    assert_eq!(scenarios.len(), 4);
    for (name, rows) in scenarios {
        let difference = worst_difference(&rows, 1.0 / 512.0, 0.1);
        assert!(difference < 2e-4, "{name}: {difference}");
    }
}

#[test]
fn halving_the_step_quarters_the_error() {
    for (name, rows) in reference() {
        let (coarse, fine) =
            (worst_difference(&rows, 1.0 / 64.0, 0.1), worst_difference(&rows, 1.0 / 128.0, 0.1));
        assert!(fine < 0.35 * coarse, "{name}: {coarse} then {fine}");
    }
}

/// The forecast walks in steps of a quarter day: its error must stay below what a kit can tell.
#[test]
fn the_steps_of_the_forecast_err_less_than_a_kit() {
    for (name, rows) in reference() {
        let difference = worst_difference(&rows, 0.25, 0.5);
        assert!(difference < 0.1, "{name}: {difference}");
    }
}

/// With nothing to oxidise a colony decays exponentially: X(t) = X(0) exp(-b t).
#[test]
fn a_starved_colony_decays_exponentially() {
    let conditions = Conditions::at(20.0, &KINETICS);
    let mut state = State { alkalinity: 3.0, ammonia_oxidisers: 2.0, ..State::default() };
    advance(&mut state, &KINETICS, &conditions, 10.0, 0.001);
    assert_relative_eq!(state.ammonia_oxidisers, 2.0 * (-0.5f64).exp(), max_relative = 1e-4);
}

/// Closed form of Monod decay with a constant colony: K ln(S0/S) + S0 - S = V t (integrated
/// Michaelis-Menten equation; Henri 1903).
#[test]
fn a_large_colony_follows_the_integrated_monod_equation() {
    let kinetics = Kinetics {
        growth_a: 0.0,
        decay_a: 0.0,
        acid_a: 1e3,
        half_alkalinity: 0.0,
        free_ammonia_a: 1e12,
        nitrous_acid_a: 1e12,
        ..KINETICS
    };
    let conditions = Conditions::at(20.0, &kinetics);
    let mut state = State { ammonia: 2.0, alkalinity: 3.0, ammonia_oxidisers: 3.0, ..State::default() };
    advance(&mut state, &kinetics, &conditions, 0.5, 1e-3);
    let left = state.ammonia;
    let time = (kinetics.half_a * (2.0 / left).ln() + 2.0 - left) / (3.0 * conditions.activity_a);
    assert_relative_eq!(time, 0.5, max_relative = 1e-4);
}

proptest! {
    #[test]
    fn nitrogen_is_conserved_and_nothing_turns_negative(
        pools in prop::array::uniform5(0.0..50.0f64),
        alkalinity in 0.02..8.0f64,
        colonies in prop::array::uniform2(1e-6..40.0f64),
        celsius in 5.0..36.0f64,
        uptake in 0.0..3.0f64,
        days in 0.01..2.0f64,
    ) {
        let [ammonia, nitrite, nitrate, organic, assimilated] = pools;
        let mut state = State {
            ammonia, nitrite, nitrate, organic, assimilated, alkalinity,
            ammonia_oxidisers: colonies[0],
            nitrite_oxidisers: colonies[1],
        };
        let conditions = Conditions::at(celsius, &KINETICS).with_life(0.0, uptake);
        let before = state.total_nitrogen();
        for _ in 0..50 {
            state = step(&state, &KINETICS, &conditions, days);
            prop_assert!(state.to_array().iter().all(|value| *value >= 0.0 && value.is_finite()));
        }
        prop_assert!((state.total_nitrogen() - before).abs() <= 1e-9 * before.max(1.0));
    }
}

/// A textbook start-up: 25 degrees, 2 mg/L of ammonia whenever it has gone, median constants.
fn start_up() -> Vec<(f64, State<f64>)> {
    let kinetics = Kinetics {
        growth_a: prior::GROWTH_A.median,
        growth_n: prior::GROWTH_N.median,
        half_a: prior::HALF_A.median,
        half_n: prior::HALF_N.median,
        decay_a: prior::DECAY_A.median,
        decay_n: prior::DECAY_N.median,
        ..KINETICS
    };
    let conditions = Conditions::at(25.0, &kinetics);
    let mut state = State {
        ammonia: 1.6,
        alkalinity: 4.0,
        ammonia_oxidisers: prior::STRAY_A.median,
        nitrite_oxidisers: prior::STRAY_N.median,
        ..State::default()
    };
    let mut days = Vec::new();
    for quarter in 0..240 {
        if quarter % 8 == 0 && state.ammonia < 0.3 {
            state.ammonia += 1.6;
        }
        days.push((f64::from(quarter) * 0.25, state));
        advance(&mut state, &kinetics, &conditions, 0.25, 0.05);
    }
    days
}

/// Day of the highest value of a pool.
fn peak(days: &[(f64, State<f64>)], pool: fn(&State<f64>) -> f64) -> f64 {
    days.iter().max_by(|a, b| pool(&a.1).total_cmp(&pool(&b.1))).unwrap().0
}

/// FAO Fisheries Technical Paper 589 (2014): cycling takes 1 to 6 weeks; a textbook of aquaculture
/// engineering: 20 to 40 days for biological filters to start.
#[test]
fn a_start_up_has_the_textbook_shape_and_length() {
    let days = start_up();
    let fallen = days.iter().find(|(_, state)| state.ammonia < 0.5).unwrap().0;
    let nitrite_peak = peak(&days, |state| state.nitrite);
    let done = days.iter().find(|(day, state)| *day > nitrite_peak && state.nitrite < 0.1).unwrap().0;
    assert!(fallen < nitrite_peak, "ammonia falls on day {fallen}, nitrite peaks on day {nitrite_peak}");
    assert!((10.0..=30.0).contains(&nitrite_peak), "nitrite peaks on day {nitrite_peak}");
    assert!((20.0..=45.0).contains(&done), "nitrite gone on day {done}");
}

/// Doubling times at 20 and 30 degrees quoted for suspended nitrifiers: 18-55 h and 7-18 h; fresh
/// biofilms are slower, hence the wider upper end (mean generation up to 60 h, Hagopian & Riley 1998).
#[test]
fn median_growth_lies_within_published_doubling_times() {
    let doubling = |growth: f64| 24.0 * std::f64::consts::LN_2 / growth;
    for growth in [prior::GROWTH_A, prior::GROWTH_N] {
        assert!((18.0..=60.0).contains(&doubling(growth.median)));
    }
}

/// Every published maximum growth rate at 20 degrees in the table lies within three spreads.
#[test]
fn prior_ranges_cover_the_published_growth_rates() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/check/nitrifier_kinetics.csv");
    let mut seen = 0;
    for record in csv::Reader::from_path(path).unwrap().records() {
        let record = record.unwrap();
        // Sources for 10 and 15 degrees are brought to 20 with theta 1.10, that of ASM1.
        let shift = if record[0].contains("15 C") {
            5.0
        } else if record[0].contains("10 C") {
            10.0
        } else {
            0.0
        };
        let growth = record[2].parse::<f64>().unwrap() * 1.10f64.powf(shift);
        let range = if &record[1] == "NOB" { prior::GROWTH_N } else { prior::GROWTH_A };
        let deviates = (growth / range.median).ln() / range.spread;
        assert!(deviates.abs() < 3.0, "{}: {deviates}", &record[0]);
        seen += 1;
    }
    assert!(seen >= 10);
}
