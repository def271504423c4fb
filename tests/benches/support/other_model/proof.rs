//! What is true at a moment: whether a proof begun now would pass, and the stage.

use tintwell::terms::unit::{NH3_PER_N, NO2_PER_N};

use super::biology::Tank;

/// Step within a proof, days.
const STEP: f64 = 1.0 / 96.0;

/// What a proof leaves.
#[derive(Debug, Clone, Copy)]
pub struct Proof {
    /// The larger of ammonia and nitrite, mg/L.
    pub residual: f64,
    /// Nitrate made, as a share of 2 mg/L ammonia.
    pub share: f64,
}

impl Proof {
    /// Ammonia brought to 2 mg/L, then 24 hours of nothing.
    pub fn begun_now(tank: &Tank, day: f64) -> Self {
        let dose = 2.0 / NH3_PER_N;
        let mut tried = *tank;
        tried.place.fish = 0.0;
        tried.water.ammonia = tried.water.ammonia.max(dose);
        let before = tried.water.nitrate;
        for step in 0..(1.0 / STEP) as usize {
            tried.advance(day + step as f64 * STEP, STEP);
        }
        Self {
            residual: (tried.water.ammonia * NH3_PER_N).max(tried.water.nitrite * NO2_PER_N),
            share: (tried.water.nitrate - before) / dose,
        }
    }

    /// Whether it passes.
    pub fn passes(&self) -> bool {
        self.residual < 0.1 && self.share >= 0.7
    }
}

/// Whether it could pass at all: saves nearly all trials.
pub fn is_hopeful(tank: &Tank) -> bool {
    let dose = 2.0 / NH3_PER_N;
    tank.capacity().iter().all(|capacity| *capacity > 0.4 * dose)
}

/// The stage, given whether a proof passes now and ever.
pub fn stage(tank: &Tank, passes: bool, ever: bool) -> &'static str {
    let [made, used] = tank.oxidised();
    let ammonia_a_day = tank.capacity()[0] * NH3_PER_N;
    let nitrite = tank.water.nitrite * NO2_PER_N;
    let sinks = used >= made && (used > 0.05 || nitrite < 0.25);
    let gone = tank.water.ammonia * NH3_PER_N < 0.1;
    let works = ammonia_a_day >= 1.0 || gone;
    if passes {
        "cycled"
    } else if !ever {
        "stalled"
    } else if nitrite < 0.25 && ammonia_a_day < 0.3 {
        "none"
    } else if works && sinks {
        "nitrite_falling"
    } else if (works && nitrite > 2.0) || ammonia_a_day >= 1.6 {
        "nitrite_peak"
    } else {
        "ammonia_falling"
    }
}
