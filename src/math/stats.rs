//! Robust and ordinary summaries of small samples.

/// Median; `None` for an empty slice or one with a value that is no number.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Quantile `p` in 0..=1 by linear interpolation between order statistics (Hyndman and Fan, type 7);
/// `None` for an empty slice or one with a value that is no number.
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    quantile_in_place(&mut values.to_vec(), p)
}

/// Median of values whose order may be lost; `None` if there are none, or one is no number.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    quantile_in_place(values, 0.5)
}

fn quantile_in_place(parted: &mut [f64], p: f64) -> Option<f64> {
    if parted.is_empty() || parted.iter().any(|value| value.is_nan()) {
        return None;
    }
    let position = p.clamp(0.0, 1.0) * (parted.len() - 1) as f64;
    let (_, below, larger) = parted.select_nth_unstable_by(position as usize, f64::total_cmp);
    let above = larger.iter().copied().min_by(f64::total_cmp).unwrap_or(*below);
    Some(*below * (1.0 - position.fract()) + above * position.fract())
}

/// Median absolute deviation from the median, scaled to the standard deviation of a normal law.
pub fn robust_sigma(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Some(1.4826 * median(&deviations)?)
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

    /// 40 CFR 136 appendix B example sample: s = 0.0556776436.
    #[test]
    fn the_standard_deviation_agrees_with_a_published_sample() {
        let sample = [0.92, 1.08, 1.00, 1.05, 0.95, 1.02, 0.98];
        assert_relative_eq!(standard_deviation(&sample).unwrap(), 0.0556776436, epsilon = 1e-10);
    }
}
