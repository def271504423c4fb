//! What the colonies have been shown to do: food a day, nitrate a week.

use super::dosing::{FOOD_N_EXCRETED, N_PER_PROTEIN, weekly_change_to_hold};
use super::track::Cloud;
use crate::terms::TankFacts;
use crate::terms::unit::NO3_PER_N;

/// Protein of an ordinary food, per cent.
const FOOD_PROTEIN: f64 = 45.0;
/// Nitrate that the weekly change is to hold, mg/L NO3 (common practice: 20 to 40; Camargo 2005: 44).
pub const NITRATE_TARGET: f64 = 40.0;

/// Food and its consequences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capacity {
    /// Nitrogen that both steps have been shown to take in a day, mg/L: nine in ten chances that it is more.
    pub shown_mg_n_l_day: f64,
    /// Food of 45 % protein whose nitrogen that is, grams a day; needs the volume.
    pub food_g_day: Option<f64>,
    /// Nitrate that this much food adds in a week, mg/L NO3.
    pub nitrate_mg_l_week: f64,
    /// Share of the water to change each week to hold [`NITRATE_TARGET`] under that food, 0 to 1.
    pub weekly_change: Option<f64>,
}

/// The capacity that `cloud` shows.
pub fn capacity(cloud: &Cloud, facts: &TankFacts) -> Capacity {
    let [shown] = cloud.quantiles(|particle| particle.ammonia_rate.min(particle.nitrite_rate), [0.1]);
    let per_gram = FOOD_PROTEIN / 100.0 * N_PER_PROTEIN * FOOD_N_EXCRETED * 1000.0;
    let volume = facts.volume_l.filter(|volume| *volume > 0.0);
    let week = shown * 7.0 * NO3_PER_N;
    let tap = facts.tap.nitrate_mg_l.unwrap_or(0.0);
    Capacity {
        shown_mg_n_l_day: shown,
        food_g_day: volume.map(|volume| shown * volume / per_gram),
        nitrate_mg_l_week: week,
        weekly_change: weekly_change_to_hold(week, tap, NITRATE_TARGET).ok(),
    }
}
