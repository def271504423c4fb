//! The exponential function of four numbers at a time.

use wide::f64x4;

/// Numbers beyond this are taken as this: the results stay normal.
const LARGEST: f64 = 700.0;
/// Adding this to a number rounds it and leaves the whole number in the lowest bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;
/// The logarithm of 2 in two parts, the first with few enough bits that whole multiples are exact.
const LN_2: (f64, f64) = (0.693_145_751_953_125, 1.428_606_820_309_417_2e-6);
/// Bias of the exponent, in its place.
const BIAS: u64 = 1023 << 52;
/// Reciprocals of the factorials from 8 down to 2.
const TERMS: [f64; 7] =
    [1.0 / 40_320.0, 1.0 / 5_040.0, 1.0 / 720.0, 1.0 / 120.0, 1.0 / 24.0, 1.0 / 6.0, 1.0 / 2.0];

/// To a relative error of 3e-10, for light that is known to a thousandth: a multiple of the logarithm of 2 is taken off, the rest goes through
/// the series.
#[inline]
pub fn exp(x: f64x4) -> f64x4 {
    let x = x.fast_max(f64x4::splat(-LARGEST)).fast_min(f64x4::splat(LARGEST));
    let rounded = x * std::f64::consts::LOG2_E + ROUNDING;
    let whole = rounded - ROUNDING;
    let rest = x - whole * LN_2.0 - whole * LN_2.1;
    let series = TERMS.iter().fold(f64x4::ZERO, |sum, &term| sum * rest + term);
    let power = rounded.to_array().map(|lane| f64::from_bits((lane.to_bits() << 52).wrapping_add(BIAS)));
    (series * rest * rest + rest + 1.0) * f64x4::new(power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the standard library.
        #[test]
        fn four_exponentials_agree_with_single_ones(x in prop::array::uniform4(-690.0..690.0_f64)) {
            for (got, x) in exp(f64x4::new(x)).to_array().into_iter().zip(x) {
                prop_assert!((got / x.exp() - 1.0).abs() < 3e-10, "{x}: {got}");
            }
        }
    }

    #[test]
    fn numbers_out_of_range_stay_finite() {
        let results = exp(f64x4::new([-1e9, 1e9, 0.0, -0.0])).to_array();
        assert!(results.iter().all(|value| value.is_finite()));
        assert_eq!(results[2..], [1.0, 1.0]);
    }
}
