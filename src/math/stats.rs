//! Robust and ordinary summaries of small samples.

/// Values whose quantiles are asked for, kept as whole numbers of the same order: those are compared at
/// once, which is most of the work.
#[derive(Debug, Clone, Default)]
pub struct Ranked {
    keys: Vec<i64>,
    holds_nan: bool,
}

impl Ranked {
    /// Adds a value.
    #[inline]
    pub fn push(&mut self, value: f64) {
        self.holds_nan |= value.is_nan();
        self.keys.push(mirrored(value.to_bits() as i64));
    }

    /// Forgets all values.
    pub fn clear(&mut self) {
        self.keys.clear();
        self.holds_nan = false;
    }

    /// Median; `None` of nothing, or where one value is no number.
    pub fn median(&mut self) -> Option<f64> {
        self.quantile(0.5)
    }

    /// Quantile `p` in 0..=1 by linear interpolation between order statistics (Hyndman and Fan, type 7);
    /// `None` of nothing, or where one value is no number.
    pub fn quantile(&mut self, p: f64) -> Option<f64> {
        if self.keys.is_empty() || self.holds_nan {
            return None;
        }
        let position = p.clamp(0.0, 1.0) * (self.keys.len() - 1) as f64;
        let (_, &mut below, larger) = self.keys.select_nth_unstable(position as usize);
        let above = larger.iter().copied().min().unwrap_or(below);
        let [below, above] = [below, above].map(|key| f64::from_bits(mirrored(key) as u64));
        Some(below * (1.0 - position.fract()) + above * position.fract())
    }
}

impl FromIterator<f64> for Ranked {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut holds_nan = false;
        let key = |value: f64| {
            holds_nan |= value.is_nan();
            mirrored(value.to_bits() as i64)
        };
        let keys = values.into_iter().map(key).collect();
        Self { keys, holds_nan }
    }
}

/// Turns the bits of a number into a whole number of the same order ([`f64::total_cmp`]), and back: of
/// negative numbers the magnitude is turned round.
#[inline]
const fn mirrored(bits: i64) -> i64 {
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// Median; `None` for an empty slice or one with a value that is no number.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Median of what an iterator gives; `None` if that is nothing, or one is no number.
pub fn median_of(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    values.into_iter().collect::<Ranked>().median()
}

/// Quantile `p` in 0..=1, see [`Ranked::quantile`].
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    values.iter().copied().collect::<Ranked>().quantile(p)
}

/// Median absolute deviation from the median, scaled to the standard deviation of a normal law.
pub fn robust_sigma(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    Some(1.4826 * median_of(values.iter().map(|value| (value - centre).abs()))?)
}

/// Arithmetic mean; `None` for an empty slice.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Sample standard deviation (n - 1); `None` for fewer than two values.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let centre = mean(values)?;
    let squares: f64 = values.iter().map(|value| (value - centre).powi(2)).sum();
    Some((squares / (values.len() - 1) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn the_median_of_an_even_sample_lies_between_the_middle_two() {
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
    }

    /// Worked by hand from the definition (type 7): position 0.95 * 4 = 3.8.
    #[test]
    fn quantiles_interpolate_between_order_statistics() {
        assert_relative_eq!(quantile(&[10.0, 20.0, 30.0, 40.0, 50.0], 0.95).unwrap(), 48.0);
    }

    #[test]
    fn nothing_and_not_a_number_have_no_median() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[1.0, f64::NAN]), None);
    }

    proptest! {
        /// Against sorting.
        #[test]
        fn quantiles_are_those_of_the_sorted_values(
            values in prop::collection::vec(-1e3..1e3_f64, 1..200),
            p in 0.0..=1.0_f64,
        ) {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let position = p * (sorted.len() - 1) as f64;
            let above = sorted[(position as usize + 1).min(sorted.len() - 1)];
            let expected = sorted[position as usize] * (1.0 - position.fract()) + above * position.fract();
            prop_assert_eq!(quantile(&values, p), Some(expected));
        }
    }

    /// 40 CFR 136 appendix B example sample: s = 0.0556776436.
    #[test]
    fn the_standard_deviation_agrees_with_a_published_sample() {
        let sample = [0.92, 1.08, 1.00, 1.05, 0.95, 1.02, 0.98];
        assert_relative_eq!(standard_deviation(&sample).unwrap(), 0.0556776436, epsilon = 1e-10);
    }
}
