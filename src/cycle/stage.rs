//! The stage of the cycle, by what each possible course says.

use serde::Serialize;

use super::dosing::{FOOD_N_EXCRETED, N_PER_PROTEIN};
use super::series::{DatedDeed, Series, VOLUME_FACTOR};
use super::track::{Cloud, Particle};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};
use crate::terms::{EventKind, TankFacts};

/// Where a tank stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Ammonia stands; nothing is oxidised yet to speak of.
    None,
    /// Ammonia is oxidised slowly; nitrite has shown.
    AmmoniaFalling,
    /// Ammonia goes fast; nitrite is high and not yet sinking.
    NitritePeak,
    /// Nitrite is used as fast as it is made, or faster; the proof does not pass yet.
    NitriteFalling,
    /// A proof begun now would pass.
    Cycled,
    /// Something holds the tank back that the keeper can mend.
    Stalled,
}

impl Stage {
    /// The stages that a tank passes through, in order.
    const COURSE: [Self; 4] = [Self::None, Self::AmmoniaFalling, Self::NitritePeak, Self::NitriteFalling];

    /// The word used in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::AmmoniaFalling => "ammonia_falling",
            Self::NitritePeak => "nitrite_peak",
            Self::NitriteFalling => "nitrite_falling",
            Self::Cycled => "cycled",
            Self::Stalled => "stalled",
        }
    }

    /// The stage in words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::None => "nothing shows yet that ammonia is oxidised",
            Self::AmmoniaFalling => "ammonia is being oxidised, slowly; nitrite shows",
            Self::NitritePeak => "ammonia goes fast, nitrite stands high and does not sink yet",
            Self::NitriteFalling => "nitrite is used as fast as it is made, or faster",
            Self::Cycled => "both steps work",
            Self::Stalled => "the cycle is stalled",
        }
    }
}

/// Ammonia oxidised in a day, mg/L NH3, from which on it goes fast.
const FAST: f64 = 1.0;
/// From which on nitrite counts as at its peak whatever it reads.
const VERY_FAST: f64 = 1.6;
/// Nitrite that has shown, mg/L NO2.
const SHOWN: f64 = 0.25;
/// Nitrite that stands low, mg/L NO2.
const LOW: f64 = 0.6;
/// Nitrite that is high, mg/L NO2.
const HIGH: f64 = 2.0;
/// Days over which the supply of ammonia is averaged.
const SUPPLY_DAYS: f64 = 7.0;

/// The likeliest stage on the way, leaving out `cycled` and `stalled`; `supply` is what the keeper gives,
/// mg/L N a day.
pub fn stage_on_the_way(cloud: &Cloud, supply: f64) -> Stage {
    let mut shares = [0.0; 4];
    for (particle, weight) in cloud.particles.iter().zip(&cloud.weights) {
        shares[stage_of(particle, supply) as usize] += weight;
    }
    let best = (0..4).max_by(|a, b| shares[*a].total_cmp(&shares[*b])).unwrap_or(0);
    Stage::COURSE[best]
}

/// The stage of one course; `supply` is what the keeper gives, mg/L N a day.
fn stage_of(particle: &Particle, supply: f64) -> Stage {
    let speed = particle.ammonia_rate * NH3_PER_N;
    let nitrite = particle.nitrite * NO2_PER_N;
    let gone = particle.ammonia * NH3_PER_N < 0.1 && speed > 0.3;
    let use_rate = particle.nitrite_rate * particle.nitrite / (particle.nitrite_half + particle.nitrite);
    let supply = supply + particle.excretion;
    let make_rate = particle.ammonia_rate.min(supply.max(particle.ammonia));
    let keeps_up = if nitrite > LOW {
        use_rate > make_rate
    } else {
        particle.nitrite_rate > particle.ammonia_rate.min(supply.max(0.3))
    };
    if speed < 0.12 && nitrite < SHOWN && !gone {
        Stage::None
    } else if keeps_up && (gone || speed >= FAST || particle.nitrite_rate > 0.5) {
        Stage::NitriteFalling
    } else if speed >= VERY_FAST || ((speed >= FAST || gone) && nitrite > HIGH) {
        Stage::NitritePeak
    } else if nitrite < SHOWN && speed < 0.3 {
        Stage::None
    } else {
        Stage::AmmoniaFalling
    }
}

/// Ammonia given in a day over the last week, mg/L as N.
pub fn recent_supply(series: &Series, facts: &TankFacts) -> f64 {
    let recent = |dated: &&DatedDeed| series.now - dated.day < SUPPLY_DAYS;
    let volume = facts.volume_l.filter(|volume| *volume > 0.0).unwrap_or(100.0);
    let given = |dated: &DatedDeed| match dated.deed.kind {
        EventKind::AmmoniaDose => dated.amount() / NH3_PER_N * VOLUME_FACTOR,
        // Food of 45 % protein.
        EventKind::Food => dated.amount() * 450.0 * N_PER_PROTEIN * FOOD_N_EXCRETED / volume,
        _ => 0.0,
    };
    series.deeds.iter().filter(recent).map(given).sum::<f64>() / SUPPLY_DAYS.min(series.now.max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// mg/L of the ions, and rates in mg/L NH3 and mg/L N a day.
    fn stage(ammonia: f64, nitrite: f64, ammonia_speed: f64, nitrite_rate: f64, supply: f64) -> Stage {
        let mut cloud = Cloud::drawn_from_prior(&TankFacts::default(), 8);
        for particle in &mut cloud.particles {
            particle.ammonia = ammonia / NH3_PER_N;
            particle.nitrite = nitrite / NO2_PER_N;
            particle.ammonia_rate = ammonia_speed / NH3_PER_N;
            particle.nitrite_rate = nitrite_rate;
            particle.nitrite_half = 0.3;
        }
        stage_on_the_way(&cloud, supply)
    }

    #[test]
    fn each_stage_is_told_from_levels_and_rates() {
        assert_eq!(stage(2.5, 0.0, 0.01, 0.001, 0.3), Stage::None);
        assert_eq!(stage(1.8, 0.8, 0.4, 0.02, 0.3), Stage::AmmoniaFalling);
        assert_eq!(stage(0.3, 4.0, 2.5, 0.05, 1.0), Stage::NitritePeak);
        assert_eq!(stage(0.05, 1.0, 2.5, 2.5, 0.8), Stage::NitriteFalling);
    }

    #[test]
    fn nitrite_that_stands_low_beside_a_strong_colony_counts_as_falling() {
        assert_eq!(stage(0.05, 0.2, 2.5, 2.0, 1.0), Stage::NitriteFalling);
    }
}
