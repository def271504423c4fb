//! A tank and what its keeper says of it, drawn.

use chrono::{DateTime, Duration};
use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};
use tintwell::terms::TankFacts;
use tintwell::terms::tank::{ChartTop, TapWater};
use tintwell::terms::unit::{NH3_PER_N, NO3_PER_N};

use super::biology::{Breed, Colony, Place, Tank, Water};

/// A log-normal number.
pub fn about(median: f64, spread: f64, rng: &mut impl Rng) -> f64 {
    let deviate: f64 = StandardNormal.sample(rng);
    median * (spread * deviate).exp()
}

/// One of `choices`, each with its weight.
pub fn one_of<T: Copy>(choices: &[(T, f64)], rng: &mut impl Rng) -> T {
    let mut left = rng.random::<f64>() * choices.iter().map(|(_, weight)| weight).sum::<f64>();
    for (choice, weight) in choices {
        left -= weight;
        if left < 0.0 {
            return *choice;
        }
    }
    choices[choices.len() - 1].0
}

/// What a tank begins with.
pub struct Start {
    pub tank: Tank,
    pub tap: Water,
    pub facts: TankFacts,
    /// True volume as a share of the nominal one.
    pub filled: f64,
    /// Whether tap water as it is used kills: each time, or now and then.
    pub untreated: f64,
}

/// Draws a tank.
pub fn start(name: &str, rng: &mut impl Rng) -> Start {
    let facts = facts(name, rng);
    let alkalinity = facts.tap.alkalinity_meq_l.unwrap_or(3.0) * about(1.0, 0.08, rng);
    let tap = Water {
        ammonia: facts.tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
        nitrate: facts.tap.nitrate_mg_l.unwrap_or(0.0) / NO3_PER_N,
        alkalinity,
        ..Water::default()
    };
    let untreated = match facts.water_conditioner.as_deref() {
        Some("never") => 0.9,
        Some("unknown") => one_of(&[(0.0, 0.7), (0.3, 0.2), (1.0, 0.1)], rng),
        _ => one_of(&[(0.0, 0.95), (0.1, 0.05)], rng),
    };
    let has_disinfectant = facts.tap.disinfectant.as_deref() != Some("none");
    let tank = Tank {
        water: tap,
        colonies: colonies(rng),
        breeds: breeds(rng),
        place: place(&facts, alkalinity, rng),
    };
    Start {
        tank,
        tap,
        filled: rng.random_range(0.84..0.98),
        untreated: if has_disinfectant { untreated } else { 0.0 },
        facts,
    }
}

/// What the keeper says.
fn facts(name: &str, rng: &mut impl Rng) -> TankFacts {
    let begun = DateTime::parse_from_rfc3339("2030-01-01T08:00:00+00:00").expect("a date");
    let celsius = one_of(&[(25.0, 0.62), (27.5, 0.22), (22.0, 0.11), (17.0, 0.05)], rng);
    let deviate: f64 = StandardNormal.sample(rng);
    let soft = rng.random::<f64>() < 0.15;
    let alkalinity = if soft { about(0.9, 0.35, rng) } else { about(3.0, 0.4, rng) };
    // Tap water holds about 0.05 to 0.25 mmol/L of carbon dioxide.
    let ph: f64 = 6.35 + (alkalinity / about(0.11, 0.4, rng)).log10();
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    TankFacts {
        tank: name.to_owned(),
        started_at: Some(begun + Duration::minutes(rng.random_range(0..400_000))),
        volume_l: Some((about(100.0, 0.6, rng) / 5.0).ceil() * 5.0),
        water: Some("fresh".to_owned()),
        temperature_c: Some(tenth(celsius + 0.8 * deviate)),
        seeding: Some(
            one_of(&[("none", 0.55), ("bottled_bacteria", 0.27), ("mature_medium", 0.18)], rng).to_owned(),
        ),
        ammonia_source: Some(source(rng).to_owned()),
        plants: Some(one_of(&[("none", 0.6), ("few", 0.3), ("many", 0.1)], rng).to_owned()),
        filter_flow: Some(one_of(&[("normal", 0.93), ("weak", 0.07)], rng).to_owned()),
        water_conditioner: Some(
            one_of(&[("always", 0.72), ("unknown", 0.23), ("never", 0.05)], rng).to_owned(),
        ),
        tap: TapWater {
            nitrate_mg_l: Some(rng.random_range(0..25u8).into()),
            ammonia_mg_l: Some(one_of(&[(0.0, 0.85), (0.2, 0.1), (0.5, 0.05)], rng)),
            ph: Some(tenth(ph)),
            alkalinity_meq_l: Some(tenth(alkalinity).max(0.2)),
            disinfectant: Some(
                one_of(&[("chlorine", 0.4), ("chloramine", 0.3), ("none", 0.3)], rng).to_owned(),
            ),
        },
        chart_top: ChartTop { ammonia: Some(8.0), nitrite: Some(5.0), nitrate: Some(100.0), ph: None },
    }
}

fn source(rng: &mut impl Rng) -> &'static str {
    one_of(
        &[("ammonium chloride", 0.5), ("ammonia solution", 0.22), ("fish food", 0.16), ("fish", 0.12)],
        rng,
    )
}

/// Bacteria that come with water, air and decoration; no source gives them, and the published start-up times
/// without seeding (20 to 45 days) set their number. They are not adapted: a lag of one to a few days.
fn colonies(rng: &mut impl Rng) -> [Colony; 2] {
    let drawn = [about(8e-5, 0.8, rng), about(4e-5, 0.9, rng)];
    drawn.map(|biomass| Colony { biomass, adapted: about(0.4, 0.8, rng), luck: 0.0 })
}

/// Constants of both breeds. Growth is at the best temperature, some 1.6 times that at 22 degrees.
fn breeds(rng: &mut impl Rng) -> [Breed; 2] {
    let ceiling = about(3.0, 0.6, rng);
    let mut wander = || (rng.random_range(0.05..0.25), rng.random_range(3.0..15.0));
    let wanders = [wander(), wander()];
    [
        Breed {
            // Sin et al. 2008 0.5-2.1, ASM2d 1.0 at 20 degrees; fresh surfaces slower (doubling up to 60 h).
            growth: about(1.15, 0.2, rng),
            warmth: [about(4.0, 0.2, rng), about(33.0, 0.05, rng), about(43.0, 0.03, rng)],
            half: about(0.3, 0.5, rng),
            half_oxygen: about(0.6, 0.4, rng),
            yielded: about(0.15, 0.2, rng),
            decay: about(0.04, 0.5, rng),
            ceiling,
            acid: 6.45 + rng.random_range(-0.25..0.25),
            // Park & Bae 2009: 290 to 1600 micromol/L; Anthonisen et al. 1976: 10 to 150 mg/L.
            haldane: about(9.0, 0.6, rng),
            poison: about(0.2, 0.6, rng),
            wander: wanders[0],
        },
        Breed {
            // Sin et al. 2008 0.4-1.05, ASMN 0.78, Metcalf & Eddy 1.0 at 20 degrees; fresh surfaces slower.
            growth: about(1.15, 0.2, rng),
            warmth: [about(5.0, 0.2, rng), about(32.0, 0.05, rng), about(42.0, 0.03, rng)],
            half: about(0.25, 0.6, rng),
            half_oxygen: about(1.0, 0.35, rng),
            yielded: about(0.05, 0.2, rng),
            decay: about(0.04, 0.5, rng),
            ceiling: 0.4 * ceiling,
            acid: 6.4 + rng.random_range(-0.25..0.25),
            // Park & Bae 2009: nitrous acid 1.7 to 6.8 micromol/L, free ammonia 46.
            haldane: about(0.06, 0.6, rng),
            poison: about(0.6, 0.7, rng),
            wander: wanders[1],
        },
    ]
}

/// Where the tank stands.
fn place(facts: &TankFacts, alkalinity: f64, rng: &mut impl Rng) -> Place {
    let deviate: f64 = StandardNormal.sample(rng);
    let weak = facts.filter_flow.as_deref() == Some("weak");
    let plants = match facts.plants.as_deref() {
        Some("many") => about(0.25, 0.6, rng),
        Some("few") => about(0.05, 0.7, rng),
        _ => 0.0,
    };
    let from = rng.random_range(0.0..15.0);
    let strength = if rng.random::<f64>() < 0.15 { about(0.7, 0.6, rng) } else { 0.0 };
    let fish = if facts.ammonia_source.as_deref() == Some("fish") { about(0.25, 0.6, rng) } else { 0.0 };
    let tap_gas = alkalinity / 10f64.powf(facts.tap.ph.unwrap_or(7.5) - 6.35);
    Place {
        celsius: facts.temperature_c.unwrap_or(25.0) + 0.4 * deviate,
        aeration: if weak { rng.random_range(0.05..0.6) } else { rng.random_range(0.65..0.98) },
        // A room's air takes part of the tap's carbon dioxide away.
        carbon_dioxide: (tap_gas * about(0.06, 0.4, rng)).sqrt(),
        plants,
        bloom: (from, from + rng.random_range(3.0..14.0), strength),
        fish,
        breakdown: about(0.4, 0.4, rng),
    }
}
