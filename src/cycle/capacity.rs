//! What the colonies have been shown to do: food a day, nitrate a week.

use super::dosing::{FOOD_N_EXCRETED, N_PER_PROTEIN};
use super::proof::{Outcome, Proof};
use super::track::Cloud;
use crate::terms::TankFacts;
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};

/// Protein of an ordinary food, per cent.
const FOOD_PROTEIN: f64 = 45.0;
/// Nitrate that the weekly change is to hold, mg/L NO3 (common practice: 20 to 40; Camargo 2005: 44).
pub const NITRATE_TARGET: f64 = 40.0;

/// Share of the water that keepers change in a week (common practice: a quarter to a third).
pub const WEEKLY_CHANGE: f64 = 0.3;

/// Food and its consequences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capacity {
    /// Nitrogen that both steps have been shown to take in a day, mg/L: nine in ten chances that it is more, and
    /// no more than a passed proof saw go.
    pub shown_mg_n_l_day: f64,
    /// Food of 45 % protein whose nitrogen that is, grams a day; needs the volume.
    pub food_g_day: Option<f64>,
    /// Nitrate that this much food adds in a week, mg/L NO3.
    pub nitrate_mg_l_week: f64,
    /// Food, grams a day, under which changing [`WEEKLY_CHANGE`] a week holds [`NITRATE_TARGET`]; needs the
    /// volume, and tap water below the target.
    pub food_g_day_by_nitrate: Option<f64>,
}

impl Capacity {
    /// Food that neither the bacteria nor nitrate forbid, grams a day.
    pub fn bearable_food_g_day(&self) -> Option<f64> {
        let food = self.food_g_day?;
        Some(self.food_g_day_by_nitrate.map_or(food, |by_nitrate| by_nitrate.min(food)))
    }
}

/// The capacity that `cloud` and `proof` show.
pub fn capacity(cloud: &Cloud, facts: &TankFacts, proof: Option<&Proof>) -> Capacity {
    let [rate] = cloud.quantiles(|particle| particle.ammonia_rate.min(particle.nitrite_rate), [0.1]);
    let seen = proof.filter(|proof| proof.outcome == Outcome::Passed).map(seen_to_go);
    let shown = seen.map_or(rate, |seen| seen.min(rate));
    let per_gram = FOOD_PROTEIN / 100.0 * N_PER_PROTEIN * FOOD_N_EXCRETED * 1000.0;
    let volume = facts.volume_l.filter(|volume| *volume > 0.0);
    let room = NITRATE_TARGET - facts.tap.nitrate_mg_l.unwrap_or(0.0);
    let held = (room > 0.0).then(|| WEEKLY_CHANGE * room / (7.0 * NO3_PER_N));
    Capacity {
        shown_mg_n_l_day: shown,
        food_g_day: volume.map(|volume| shown * volume / per_gram),
        nitrate_mg_l_week: shown * 7.0 * NO3_PER_N,
        food_g_day_by_nitrate: volume.zip(held).map(|(volume, held)| held * volume / per_gram),
    }
}

/// Nitrogen that went in a passed proof, mg/L a day: how fast more would go its readings at zero do not tell.
fn seen_to_go(proof: &Proof) -> f64 {
    proof.dose_mg_l / NH3_PER_N * 24.0 / proof.hours
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::dosing::{ammonia_from_food_mg_l, weekly_change_to_hold};
    use approx::assert_relative_eq;

    fn shown(rate: f64, facts: &TankFacts) -> Capacity {
        let mut cloud = crate::cycle::track::Cloud::drawn_from_prior(facts, 64);
        for particle in &mut cloud.particles {
            (particle.ammonia_rate, particle.nitrite_rate) = (rate, 2.0 * rate);
        }
        capacity(&cloud, facts, None)
    }

    #[test]
    fn no_more_is_called_shown_than_a_passed_proof_saw_go() {
        let at = chrono::DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap();
        let proof = |outcome| Proof {
            dosed_at: at,
            dose_mg_l: 2.0,
            tested_at: at + chrono::Duration::hours(25),
            hours: 25.0,
            ammonia_gone: 1.0,
            nitrite_gone: 1.0,
            nitrate_made: 1.0,
            outcome,
            beyond_doubt: true,
            evidence: Vec::new(),
        };
        let facts = TankFacts::default();
        let mut cloud = crate::cycle::track::Cloud::drawn_from_prior(&facts, 64);
        for particle in &mut cloud.particles {
            (particle.ammonia_rate, particle.nitrite_rate) = (6.0, 6.0);
        }
        let shown = |outcome| capacity(&cloud, &facts, Some(&proof(outcome))).shown_mg_n_l_day;
        assert_relative_eq!(shown(Outcome::Passed), 2.0 / NH3_PER_N * 24.0 / 25.0, epsilon = 1e-9);
        assert_relative_eq!(shown(Outcome::NotShown), 6.0, epsilon = 1e-9);
    }

    #[test]
    fn the_food_holds_as_much_nitrogen_as_was_shown() {
        let facts = TankFacts { volume_l: Some(120.0), ..TankFacts::default() };
        let capacity = shown(1.5, &facts);
        let food = capacity.food_g_day.unwrap();
        let ammonia = ammonia_from_food_mg_l(food, FOOD_PROTEIN, 120.0).unwrap();
        assert_relative_eq!(ammonia / NH3_PER_N, 1.5, epsilon = 1e-9);
    }

    #[test]
    fn the_weekly_change_holds_the_nitrate_of_the_bearable_food() {
        let facts = TankFacts { volume_l: Some(120.0), ..TankFacts::default() };
        let capacity = shown(4.0, &facts);
        let food = capacity.bearable_food_g_day().unwrap();
        assert!(food < capacity.food_g_day.unwrap());
        let weekly = ammonia_from_food_mg_l(food, FOOD_PROTEIN, 120.0).unwrap() / NH3_PER_N * 7.0 * NO3_PER_N;
        let share = weekly_change_to_hold(weekly, 0.0, NITRATE_TARGET).unwrap();
        assert_relative_eq!(share, WEEKLY_CHANGE, epsilon = 1e-9);
    }

    #[test]
    fn without_a_volume_no_food_is_promised() {
        assert_eq!(shown(4.0, &TankFacts::default()).bearable_food_g_day(), None);
    }
}
