//! What a deed does to one possible tank.

use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

use super::draw::from_range;
use super::particle::Particle;
use crate::cycle::kinetics::{Range, State, prior};
use crate::terms::EventKind;
use crate::terms::unit::NH3_PER_N;

/// What the tank's facts add to a deed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Tap water.
    pub tap: State<f64>,
    /// Nominal volume, litres.
    pub volume_l: f64,
    /// Whether doses bring alkalinity, as ammonia solution does and a salt does not.
    pub alkaline_dose: bool,
}

/// Relative scatter of a dose measured out at home.
const DOSE_SCATTER: f64 = 0.05;
/// Share of bottled starters that are dead.
const DEAD_BOTTLES: f64 = 0.35;

impl Setting {
    /// Does `kind` to `particle`; unknown amounts are drawn.
    pub fn apply(&self, kind: EventKind, amount: Option<f64>, particle: &mut Particle, rng: &mut impl Rng) {
        let normal: f64 = StandardNormal.sample(rng);
        let state = &mut particle.state;
        match kind {
            EventKind::AmmoniaDose => {
                let raise = amount.unwrap_or(2.0) / (NH3_PER_N * particle.traits.volume);
                self.dose(particle, raise * (1.0 + DOSE_SCATTER * normal).max(0.3));
            }
            EventKind::Food => {
                let litres = self.volume_l * particle.traits.volume;
                state.organic += amount.unwrap_or(0.5) * particle.traits.food / litres;
            }
            EventKind::WaterChange => {
                let percent = amount.unwrap_or(30.0) * (1.0 + 0.05 * normal);
                self.change_water(particle, (percent / 100.0).clamp(0.0, 1.0));
            }
            EventKind::MatureMedium => {
                let share = amount.unwrap_or(20.0) / 100.0;
                state.ammonia_oxidisers += share * from_range(prior::MATURE_FILTER, rng);
                state.nitrite_oxidisers += share * from_range(prior::MATURE_FILTER, rng);
            }
            EventKind::BottledBacteria => self.pour(amount.unwrap_or(20.0), state, rng),
            EventKind::FilterCleaned => state.thin_colonies(rng.random_range(0.3..0.98)),
            EventKind::AlkalinityDose => state.alkalinity += amount.unwrap_or(0.5) / particle.traits.volume,
            EventKind::Medicine => state.thin_colonies(rng.random_range(0.2..1.0)),
            EventKind::FishAdded => {}
        }
    }

    /// Raises ammonia by `raise`, mg N/L.
    pub fn dose(&self, particle: &mut Particle, raise: f64) {
        particle.state.ammonia += raise;
        if self.alkaline_dose {
            particle.state.alkalinity += raise / crate::terms::unit::atomic_weight::N;
        }
    }

    /// Changes the share `fraction` of the water; untreated tap water kills.
    pub fn change_water(&self, particle: &mut Particle, fraction: f64) {
        particle.state.change_water(fraction, &self.tap);
        if particle.traits.kill > 0.0 {
            particle.state.thin_colonies((-particle.traits.kill * fraction).exp());
        }
    }

    /// Pours a starter that may be dead.
    fn pour(&self, millilitres: f64, state: &mut State<f64>, rng: &mut impl Rng) {
        if rng.random::<f64>() < DEAD_BOTTLES {
            return;
        }
        let per_litre = millilitres / self.volume_l;
        let brought = per_litre * from_range(prior::BOTTLE_PER_ML_L, rng);
        state.ammonia_oxidisers += brought;
        state.nitrite_oxidisers += brought * from_range(Range::new(0.7, 0.8), rng);
    }
}
