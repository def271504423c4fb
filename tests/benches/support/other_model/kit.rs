//! What colour kits show of the water, and how sure they claim to be.

use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};
use tintwell::reading::Status;
use tintwell::terms::Analyte;
use tintwell::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

use super::biology::Tank;
use super::draw::about;

/// One keeper's kits, with their steady bias.
pub struct Kit {
    /// Ammonia, nitrite, nitrate: shown as a multiple of the truth.
    gain: [f64; 3],
    /// Share of nitrite that is seen as nitrate.
    cross: f64,
    /// Share of readings that are one chart step off.
    slips: f64,
}

/// What one test shows.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    pub status: Status,
    pub value: f64,
    pub low: f64,
    pub high: Option<f64>,
}

impl Kit {
    pub fn draw(rng: &mut impl Rng) -> Self {
        Self {
            gain: [about(1.0, 0.07, rng), about(1.0, 0.07, rng), about(1.0, 0.15, rng)],
            cross: if rng.random::<f64>() < 0.3 { rng.random_range(0.1..0.9) } else { 0.0 },
            slips: rng.random_range(0.0..0.06),
        }
    }

    /// Reads `analyte`; a chart ends at `top`.
    pub fn read(&self, analyte: Analyte, tank: &Tank, top: f64, rng: &mut impl Rng) -> Shown {
        let water = &tank.water;
        let deviate: f64 = StandardNormal.sample(rng);
        let plain = |truth: f64, spread: f64| {
            let value = truth + spread * deviate;
            Shown {
                status: Status::Read,
                value,
                low: value - 1.96 * spread,
                high: Some(value + 1.96 * spread),
            }
        };
        let (truth, blank) = match analyte {
            Analyte::Temperature => return plain(tank.place.celsius, 0.25),
            Analyte::Ph => return plain(tank.place.ph(water.alkalinity), 0.15),
            Analyte::Ammonia => (self.gain[0] * water.ammonia * NH3_PER_N, 0.1),
            Analyte::Nitrite => (self.gain[1] * water.nitrite * NO2_PER_N, 0.1),
            _ => {
                let seen = water.nitrate * NO3_PER_N + self.cross * water.nitrite * NO2_PER_N;
                (self.gain[2] * seen, 3.0)
            }
        };
        let coarse = if analyte == Analyte::Nitrate { 1.6 } else { 1.0 };
        let relative = coarse * 0.06 * 4f64.powf(rng.random::<f64>());
        let slip = if rng.random::<f64>() < self.slips {
            [0.5, 2.0][usize::from(rng.random::<bool>())]
        } else {
            1.0
        };
        // A zero reads as anything from nothing to the blank.
        let seen = truth * slip * (1.0 + relative * deviate).max(0.0)
            + blank * rng.random::<f64>() * (-truth / blank).exp();
        let spread = relative * seen + 0.35 * blank;
        if seen + 0.5 * spread >= top {
            return Shown {
                status: Status::AboveRange,
                value: top,
                low: (top - 1.96 * spread).max(0.5 * top),
                high: None,
            };
        }
        Shown {
            status: Status::Read,
            value: seen,
            low: (seen - 1.96 * spread).max(0.0),
            high: Some(seen + 1.96 * spread),
        }
    }
}
