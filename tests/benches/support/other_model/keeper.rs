//! Keepers and their habits (common practice, no source).

use rand::{Rng, RngExt};
use tintwell::terms::{EventKind, TankFacts};

use super::draw::{about, one_of};

/// How ammonia is given.
#[derive(Debug, Clone, Copy)]
pub enum Dosing {
    /// Not at all, or by food or fish.
    None,
    /// Once.
    Once { amount: f64 },
    /// Where a test shows less than `below`, up to `to`; mg/L NH3.
    WhenLow { below: f64, to: f64 },
    /// Whatever tests show.
    ByCalendar { every: f64, amount: f64 },
}

/// One keeper.
pub struct Keeper {
    /// Days between tests, and their relative scatter.
    pub rhythm: (f64, f64),
    /// Chance that ammonia, nitrite, nitrate, pH and temperature are looked at.
    pub looks: [f64; 5],
    pub dosing: Dosing,
    /// Day of the first dose or meal.
    pub begins: f64,
    /// Days between meals, and grams.
    pub meals: Option<(f64, f64)>,
    /// Days between water changes, and the fraction.
    pub changes: Option<(f64, f64)>,
    /// Nitrite that is answered by a water change, mg/L.
    pub nitrite_limit: f64,
    /// pH that is answered by a water change, and the chance that it is.
    pub acid: (f64, f64),
    /// The fraction of such changes.
    pub rescue: f64,
    /// Whether proofs are made once both read as nothing.
    pub proves: bool,
    /// Whether dosing ends when both read as nothing.
    pub rests: bool,
    /// What is put in to begin with, and on which day.
    pub seeds: Option<(f64, EventKind, f64)>,
}

impl Keeper {
    pub fn draw(facts: &TankFacts, rng: &mut impl Rng) -> Self {
        let volume = facts.volume_l.unwrap_or(100.0);
        let begins = rng.random_range(0.0..2.0);
        let (dosing, meals) = match facts.ammonia_source.as_deref() {
            Some("fish food") => {
                (Dosing::None, Some((one_of(&[(1.0, 0.6), (2.0, 0.4)], rng), about(0.02, 0.5, rng) * volume)))
            }
            Some("fish") => (Dosing::None, None),
            _ => (dosing(rng), None),
        };
        Self {
            rhythm: (
                one_of(&[(1.0, 0.3), (2.0, 0.35), (3.0, 0.25), (5.0, 0.1)], rng) * about(1.0, 0.15, rng),
                rng.random_range(0.1..0.5),
            ),
            looks: [
                rng.random_range(0.75..1.0),
                rng.random_range(0.65..1.0),
                one_of(&[(0.0, 0.2), (0.4, 0.5), (0.9, 0.3)], rng),
                one_of(&[(0.0, 0.2), (0.2, 0.4), (0.5, 0.4)], rng),
                one_of(&[(0.0, 0.3), (0.4, 0.7)], rng),
            ],
            dosing,
            begins,
            meals,
            changes: one_of(&[(None, 0.6), (Some((7.0, 0.25)), 0.25), (Some((14.0, 0.4)), 0.15)], rng),
            nitrite_limit: one_of(&[(f64::INFINITY, 0.6), (4.9, 0.25), (3.0, 0.15)], rng),
            acid: (rng.random_range(6.0..7.0), one_of(&[(0.0, 0.35), (0.6, 0.3), (1.0, 0.35)], rng)),
            rescue: rng.random_range(0.25..0.6),
            proves: rng.random::<f64>() < 0.6,
            rests: rng.random::<f64>() < 0.15,
            seeds: seeds(facts, rng),
        }
    }
}

/// How a keeper with a bottle of ammonia uses it; now and then far too much of it.
fn dosing(rng: &mut impl Rng) -> Dosing {
    let amount = one_of(&[(2.0, 0.45), (3.0, 0.25), (4.0, 0.2), (1.0, 0.07), (15.0, 0.03)], rng)
        * about(1.0, 0.12, rng);
    let below = one_of(&[(0.25, 0.3), (0.5, 0.45), (1.0, 0.25)], rng);
    let every = one_of(&[(1.0, 0.3), (2.0, 0.3), (4.0, 0.4)], rng);
    one_of(
        &[
            (Dosing::WhenLow { below, to: amount.max(below + 0.5) }, 0.75),
            (Dosing::ByCalendar { every, amount: amount * (every / 4.0).min(1.0) }, 0.18),
            (Dosing::Once { amount }, 0.07),
        ],
        rng,
    )
}

fn seeds(facts: &TankFacts, rng: &mut impl Rng) -> Option<(f64, EventKind, f64)> {
    let day = one_of(&[(0.3, 0.7), (2.0, 0.15), (8.0, 0.15)], rng);
    match facts.seeding.as_deref() {
        Some("bottled_bacteria") => {
            Some((day, EventKind::BottledBacteria, one_of(&[(20.0, 0.4), (50.0, 0.4), (100.0, 0.2)], rng)))
        }
        Some("mature_medium") => {
            Some((day, EventKind::MatureMedium, one_of(&[(5.0, 0.3), (15.0, 0.4), (40.0, 0.3)], rng)))
        }
        _ => None,
    }
}
