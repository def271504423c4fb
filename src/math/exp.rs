//! The exponential function and the natural logarithm of four numbers at a time.

use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch, f64x4};

/// Numbers beyond this are taken as this: the results stay normal.
const LARGEST: f64 = 700.0;
/// Adding this to a number rounds it and leaves the whole number in the lowest bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;
/// The logarithm of 2 in two parts, the first with few enough bits that whole multiples are exact.
const LN_2: (f64, f64) = (0.693_145_751_953_125, 1.428_606_820_309_417_2e-6);
/// Bias of the exponent, in its place.
const BIAS: u64 = 1023 << 52;
/// The square root of a half, where its exponent and fraction lie.
const ROOT_OF_HALF: u64 = std::f64::consts::FRAC_1_SQRT_2.to_bits();
/// 2 to the 52nd, whose last bit counts ones, as a number and as bits.
const TWO_TO_52: f64 = 4_503_599_627_370_496.0;
const WHOLE: u64 = TWO_TO_52.to_bits();
/// Reciprocals of the factorials from 8 down to 2.
const TERMS: [f64; 7] =
    [1.0 / 40_320.0, 1.0 / 5_040.0, 1.0 / 720.0, 1.0 / 120.0, 1.0 / 24.0, 1.0 / 6.0, 1.0 / 2.0];

/// To a relative error of 3e-10, for light that is known to a thousandth: a multiple of the logarithm of 2
/// is taken off, the rest goes through the series.
#[inline(always)]
pub fn exp<S: Simd>(x: f64x4<S>) -> f64x4<S> {
    let x = x.max(-LARGEST).min(LARGEST);
    let rounded = x * std::f64::consts::LOG2_E + ROUNDING;
    let whole = rounded - ROUNDING;
    let rest = x - whole * LN_2.0 - whole * LN_2.1;
    let mut series = f64x4::splat(x.simd, 0.0);
    for term in TERMS {
        series = series * rest + term;
    }
    let power = f64x4::from_bits((rounded.to_bits() << 52) + BIAS);
    (series * rest * rest + rest + 1.0) * power
}

/// The exponential function of every number, in its place.
pub fn exp_all(numbers: &mut [f64]) {
    dispatch!(Level::new(), simd => {
        let (fours, rest) = numbers.as_chunks_mut::<4>();
        for four in fours {
            *four = exp((*four).simd_into(simd)).into();
        }
        let mut last = [0.0; 4];
        last[..rest.len()].copy_from_slice(rest);
        let last: [f64; 4] = exp(last.simd_into(simd)).into();
        rest.copy_from_slice(&last[..rest.len()]);
    });
}

/// Natural logarithm of positive normal numbers, to 2e-12: the power of two is taken off that leaves a number
/// about one, whose logarithm is that of its distance from one to the sum of both (area tangent).
#[inline(always)]
pub fn ln<S: Simd>(x: f64x4<S>) -> f64x4<S> {
    let shifted = x.to_bits() + (BIAS - ROOT_OF_HALF);
    let power = f64x4::from_bits((shifted >> 52) | WHOLE) - (TWO_TO_52 + 1023.0);
    let rest = f64x4::from_bits(x.to_bits() - (shifted & (0x7ff << 52)) + BIAS);
    let ratio = (rest - 1.0) / (rest + 1.0);
    let square = ratio * ratio;
    let mut series = f64x4::splat(x.simd, 0.0);
    for odd in [15.0, 13.0, 11.0, 9.0, 7.0, 5.0, 3.0, 1.0] {
        series = series * square + 2.0 / odd;
    }
    power * std::f64::consts::LN_2 + ratio * series
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the standard library.
        #[test]
        fn exponentials_side_by_side_agree_with_single_ones(x in prop::collection::vec(-690.0..690.0_f64, 1..12)) {
            let mut got = x.clone();
            exp_all(&mut got);
            for (got, x) in got.into_iter().zip(x) {
                prop_assert!((got / x.exp() - 1.0).abs() < 3e-10, "{x}: {got}");
            }
        }
    }

    proptest! {
        /// Against the standard library.
        #[test]
        fn four_logarithms_agree_with_single_ones(x in prop::array::uniform4(-690.0..690.0_f64)) {
            let x = x.map(f64::exp);
            let got: [f64; 4] = dispatch!(Level::new(), simd => ln(x.simd_into(simd)).into());
            for (got, x) in got.into_iter().zip(x) {
                prop_assert!((got - x.ln()).abs() < 2e-12 * x.ln().abs().max(0.1), "{x}: {got}");
            }
        }
    }

    #[test]
    fn numbers_out_of_range_stay_finite() {
        let mut results = [-1e9, 1e9, 0.0, -0.0, f64::NEG_INFINITY];
        exp_all(&mut results);
        assert!(results.iter().all(|value| value.is_finite()));
        assert_eq!(results[2..4], [1.0, 1.0]);
    }
}
