//! How likely a reading is in one possible tank.
//!
//! A reading errs by its own interval, by what the model leaves out, and now and then by a chart
//! step or grossly: hence a heavy-tailed core (Student's t, three degrees of freedom), a wider copy
//! of it, and a floor. Bounds enter as the probability of lying beyond them.

use super::particle::Block;
use super::timeline::Told;
use crate::cycle::kinetics::WIDTH;
use crate::terms::Analyte;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

/// Share of readings that err by about one chart step.
pub(super) const STEP_OFF: f64 = 0.06;
/// Share of readings that are grossly wrong: swapped, misread, mistyped.
pub(super) const GROSS: f64 = 0.015;
/// Width of a chart step relative to the value: charts go up by about half or double.
pub(super) const STEP_WIDTH: f64 = 0.4;
/// How far the model itself may stray, relative to the value.
pub(super) const STRAY: f64 = 0.1;

/// Least standard uncertainty and range over which a gross error may fall, default units.
pub(super) fn scale(analyte: Analyte) -> (f64, f64) {
    match analyte {
        Analyte::Nitrate => (1.5, 150.0),
        Analyte::Ph => (0.12, 4.0),
        _ => (0.04, 8.0),
    }
}

/// Density of Student's t with three degrees of freedom and scale `sigma`.
#[inline(always)]
fn student(error: f64, sigma: f64) -> f64 {
    let z = error / sigma;
    let base = 1.0 + z * z / 3.0;
    0.367_552_6 / (sigma * base * base)
}

/// Probability that a t-distributed error (two degrees of freedom, closed form) is below `z`.
#[inline(always)]
fn student_below(z: f64) -> f64 {
    0.5 + 0.5 * z / (2.0 + z * z).sqrt()
}

/// Likelihood of `told` when the kit ought to show `expected`.
#[inline(always)]
pub fn likelihood(analyte: Analyte, told: Told, expected: f64) -> f64 {
    let (least, range) = scale(analyte);
    let stray = if analyte == Analyte::Ph { 0.0 } else { STRAY * expected };
    match told {
        Told::About(value, spread) => {
            let sigma = (spread * spread + least * least + stray * stray).sqrt();
            let wide = 2.0 * sigma + STEP_WIDTH * expected;
            (1.0 - STEP_OFF - GROSS) * student(value - expected, sigma)
                + STEP_OFF * student(value - expected, wide)
                + GROSS / range
        }
        Told::Above(bound) => {
            let sigma = least + 0.1 * bound;
            GROSS + (1.0 - 2.0 * GROSS) * student_below((expected - bound) / sigma)
        }
        Told::Below(bound) => {
            let sigma = least + 0.1 * bound;
            GROSS + (1.0 - 2.0 * GROSS) * student_below((bound - expected) / sigma)
        }
    }
}

/// What the kit for `analyte` ought to show in each possible tank, or `None` if the model does not say.
pub fn expected(block: &Block, analyte: Analyte) -> Option<[f64; WIDTH]> {
    let (s, t) = (&block.state, &block.traits);
    let mut shown = [0.0; WIDTH];
    for (lane, value) in shown.iter_mut().enumerate() {
        *value = match analyte {
            Analyte::Ammonia => t.gain_ammonia.0[lane] * s.ammonia.0[lane] * NH3_PER_N,
            Analyte::Nitrite => t.gain_nitrite.0[lane] * s.nitrite.0[lane] * NO2_PER_N,
            Analyte::Nitrate => {
                let seen = s.nitrate.0[lane] + t.cross.0[lane] * s.nitrite.0[lane];
                t.gain_nitrate.0[lane] * seen * NO3_PER_N
            }
            Analyte::Ph => (s.alkalinity.0[lane] / block.kinetics.carbonic.0[lane]).log10(),
            Analyte::Alkalinity => s.alkalinity.0[lane],
            Analyte::Temperature => return None,
        };
    }
    Some(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Density of t(3) at 0 and 1: 0.36755 and 0.20675 (general-purpose statistics library).
    #[test]
    fn the_core_is_students_t() {
        assert!((student(0.0, 1.0) - 0.367_55).abs() < 1e-5);
        assert!((student(1.0, 1.0) - 0.206_75).abs() < 1e-5);
    }

    #[test]
    fn a_reading_past_the_chart_speaks_for_more_than_its_bound() {
        let more = likelihood(Analyte::Nitrite, Told::Above(4.0), 9.0);
        let less = likelihood(Analyte::Nitrite, Told::Above(4.0), 1.0);
        assert!(more > 20.0 * less);
    }

    #[test]
    fn one_gross_error_cannot_rule_a_tank_out() {
        let agreeing = likelihood(Analyte::Ammonia, Told::About(2.0, 0.1), 2.0);
        let wrong = likelihood(Analyte::Ammonia, Told::About(2.0, 0.1), 40.0);
        assert!(wrong > agreeing * 1e-4);
    }
}
