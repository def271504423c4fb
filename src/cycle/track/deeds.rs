//! What the keeper's deeds do to one course of the tank.

use rand::RngExt;
use rand_pcg::Pcg64Mcg;

use super::particle::{Particle, log_normal, uniform};
use crate::cycle::Deed;
use crate::cycle::dosing::{FOOD_N_EXCRETED, N_PER_PROTEIN};
use crate::cycle::series::{DatedDeed, VOLUME_FACTOR};
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};
use crate::terms::{EventKind, TankFacts};

/// Protein in an ordinary flake or pellet food, as a share (labels print 35 to 55 %).
const FOOD_PROTEIN: f64 = 0.45;
/// What a whole mature filter oxidises in a day, mg/L N: 0.3 to 0.7 g N a square metre and day.
const MATURE_FILTER: f64 = 3.5;
/// Ammonia that one fish gives off beyond logged food, mg N a day: about half a mg for each gram of a fish of
/// 25 g (rough; sizes are not told).
const PER_FISH_MG_N: f64 = 12.0;

/// Chance that water as it came from the tap kills bacteria, of which it is not told whether it is disinfected
/// (judgement, no source).
const STRAIGHT: f64 = 0.6;
/// Chance from which on tap water is to be reckoned with (judgement, no source).
const LIKELY: f64 = 0.3;

/// What the deeds need to know of the tank: tap water, volume, disinfectant.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    tap_ammonia: f64,
    tap_nitrate: f64,
    volume_l: f64,
    poison: f64,
}

impl Source {
    /// From the tank's facts; an unknown volume is taken as 100 litres, which only food and fish notice.
    pub fn new(facts: &TankFacts) -> Self {
        Self {
            tap_ammonia: facts.tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
            tap_nitrate: facts.tap.nitrate_mg_l.unwrap_or(10.0) / NO3_PER_N,
            volume_l: facts.volume_l.filter(|volume| *volume > 0.0).unwrap_or(100.0),
            poison: poison_chance(facts),
        }
    }

    /// Chance that tap water poured in kills bacteria, from the conditioner and the disinfectant.
    pub const fn poison_chance(&self) -> f64 {
        self.poison
    }

    /// The same of one deed, whose note may tell more.
    pub fn chance_of_poison(&self, deed: &Deed) -> f64 {
        let is_straight = self.poison > 0.0 && deed.is_by_untreated_water();
        if is_straight { self.poison.max(STRAIGHT) } else { self.poison }
    }

    /// Whether tap water that went in with `deed`, or over the filter, likely killed bacteria.
    pub fn likely_poisons(&self, deed: &Deed) -> bool {
        let takes_water = matches!(deed.kind, EventKind::WaterChange | EventKind::FilterCleaned);
        takes_water && self.chance_of_poison(deed) >= LIKELY
    }

    /// Does `dated` to `particle`.
    pub fn apply(&self, particle: &mut Particle, dated: &DatedDeed, rng: &mut Pcg64Mcg) {
        let amount = dated.amount();
        match dated.deed.kind {
            EventKind::AmmoniaDose => particle.ammonia += amount / NH3_PER_N * particle.volume_factor,
            EventKind::Food => {
                let nitrogen_mg = amount * 1000.0 * FOOD_PROTEIN * N_PER_PROTEIN * FOOD_N_EXCRETED;
                particle.organic += nitrogen_mg / self.volume_l * VOLUME_FACTOR * particle.food_factor;
            }
            EventKind::WaterChange => {
                self.change_water(particle, amount / 100.0);
                if rng.random_bool(self.chance_of_poison(&dated.deed)) {
                    thin(particle, uniform(rng, 0.03, 0.9));
                }
            }
            EventKind::MatureMedium => {
                let moved = amount / 100.0 * MATURE_FILTER;
                particle.ammonia_rate += log_normal(rng, moved.max(1e-6), 0.8);
                particle.nitrite_rate += log_normal(rng, moved.max(1e-6), 0.8);
            }
            EventKind::BottledBacteria => {
                if rng.random_bool(0.6) {
                    particle.ammonia_rate += log_normal(rng, 0.15, 1.2);
                    particle.nitrite_rate += log_normal(rng, 0.15, 1.4);
                }
            }
            EventKind::FishAdded => self.stock(particle, dated.deed.amount.unwrap_or(1.0), rng),
            EventKind::FilterCleaned => thin(particle, uniform(rng, 0.3, 1.0)),
            EventKind::Medicine => thin(particle, uniform(rng, 0.2, 1.0)),
            EventKind::AlkalinityDose => {}
        }
    }

    /// Puts `count` fish in; a negative count are fish that died or were moved out.
    fn stock(&self, particle: &mut Particle, count: f64, rng: &mut Pcg64Mcg) {
        let before = particle.fish;
        particle.fish = (before + count).max(0.0);
        if particle.fish > before {
            particle.excretion += log_normal(rng, PER_FISH_MG_N * count.max(1.0) / self.volume_l, 1.2);
        } else if before > 0.0 {
            particle.excretion *= particle.fish / before;
        }
    }

    /// Replaces `share` of the water by tap water.
    pub fn change_water(&self, particle: &mut Particle, share: f64) {
        let share = share.clamp(0.0, 1.0);
        particle.ammonia += share * (self.tap_ammonia - particle.ammonia);
        particle.nitrite -= share * particle.nitrite;
        particle.nitrate += share * (self.tap_nitrate - particle.nitrate);
    }
}

fn thin(particle: &mut Particle, survival: f64) {
    particle.ammonia_rate *= survival;
    particle.nitrite_rate *= survival;
    particle.survival = particle.survival.min(survival);
}

fn poison_chance(facts: &TankFacts) -> f64 {
    let disinfected = match facts.tap.disinfectant.as_deref() {
        Some("none") => 0.0,
        Some("chlorine" | "chloramine") => 1.0,
        _ => 0.6,
    };
    let untreated = match facts.water_conditioner.as_deref() {
        Some("always") => 0.02,
        Some("never") => 0.8,
        _ => 0.2,
    };
    disinfected * untreated
}
