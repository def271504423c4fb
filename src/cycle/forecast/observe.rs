//! How likely a reading is in one possible tank.
//!
//! A reading errs by its own interval, by what the model leaves out, and now and then by a chart
//! step or grossly: hence a heavy-tailed core (Student's t, three degrees of freedom), a wider copy
//! of it, and a floor. Bounds enter as the probability of lying beyond them.

use super::particle::Block;
use super::timeline::Told;
use crate::cycle::kinetics::{Lanes, Real};
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
fn student<T: Real>(error: T, sigma: T) -> T {
    let z = error / sigma;
    let base = T::splat(1.0) + z * z * T::splat(1.0 / 3.0);
    T::splat(0.367_552_6) / (sigma * base * base)
}

/// Probability that a t-distributed error (two degrees of freedom, closed form) is below `z`.
#[inline(always)]
fn student_below<T: Real>(z: T) -> T {
    T::splat(0.5) + T::splat(0.5) * z / (T::splat(2.0) + z * z).sqrt()
}

/// Likelihood of `told` when the kit ought to show `expected`.
#[inline(always)]
pub fn likelihood<T: Real>(analyte: Analyte, told: Told, expected: T) -> T {
    let (least, range) = scale(analyte);
    let of = T::splat;
    match told {
        Told::About(value, spread) => {
            let stray = if analyte == Analyte::Ph { of(0.0) } else { of(STRAY) * expected };
            let sigma = (of(spread * spread + least * least) + stray * stray).sqrt();
            let wide = of(2.0) * sigma + of(STEP_WIDTH) * expected;
            let error = of(value) - expected;
            of(1.0 - STEP_OFF - GROSS) * student(error, sigma)
                + of(STEP_OFF) * student(error, wide)
                + of(GROSS / range)
        }
        Told::Above(bound) => beyond(expected - of(bound), least + 0.1 * bound),
        Told::Below(bound) => beyond(of(bound) - expected, least + 0.1 * bound),
    }
}

/// Likelihood of a bound that what ought to be shown passes by `distance`.
#[inline(always)]
fn beyond<T: Real>(distance: T, sigma: f64) -> T {
    T::splat(GROSS) + T::splat(1.0 - 2.0 * GROSS) * student_below(distance * T::splat(1.0 / sigma))
}

/// What the kit for `analyte` ought to show in each possible tank, or `None` if the model does not say.
pub fn expected(block: &Block, analyte: Analyte) -> Option<Lanes> {
    let (s, t) = (&block.state, &block.traits);
    let of = Lanes::splat;
    Some(match analyte {
        Analyte::Ammonia => t.gain_ammonia * s.ammonia * of(NH3_PER_N),
        Analyte::Nitrite => t.gain_nitrite * s.nitrite * of(NO2_PER_N),
        Analyte::Nitrate => t.gain_nitrate * (s.nitrate + t.cross * s.nitrite) * of(NO3_PER_N),
        Analyte::Ph => (s.alkalinity / block.kinetics.carbonic).map(f64::log10),
        Analyte::Alkalinity => s.alkalinity,
        Analyte::Temperature => return None,
    })
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
