//! Quantiles of a sample that may hold infinities ("never").

/// The quantile `share` of equally weighted `values`, lower of the two neighbours; `None` if empty.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let rank = (share * last as f64).round() as usize;
    sorted.get(rank.min(last)).copied()
}

/// Share of skew values that lie below the place where they lie most densely.
pub(super) const DENSEST: f64 = 0.35;

/// A middle and the bounds of an 80 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Lower bound.
    pub low: f64,
    /// The middle.
    pub middle: f64,
    /// Upper bound.
    pub high: f64,
}

impl Span {
    /// Median and the middle 80 % of equally weighted `values`; `None` if there are none.
    pub fn of(values: &[f64]) -> Option<Self> {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        Some(Self {
            low: quantile(&sorted, 0.1)?,
            middle: quantile(&sorted, 0.5)?,
            high: quantile(&sorted, 0.9)?,
        })
    }

    /// The shortest interval that holds 80 % of equally weighted, finite `values`, and about where they lie
    /// most densely; `None` if there are none.
    ///
    /// For skew values the shortest interval is much shorter than the middle one and as sure. A log-normal
    /// distribution is densest at its quantile `Phi(-spread)`: 0.35 for the spread of 0.4 that days have.
    /// Looking for the densest place itself finds the same, but scatters more from sample to sample.
    pub fn densest(values: &[f64]) -> Option<Self> {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let most = shortest(&sorted, 0.8)?;
        let middle = quantile(&sorted, DENSEST)?;
        Some(Self { low: most[0].min(middle), middle, high: most[most.len() - 1].max(middle) })
    }
}

/// The closest neighbours among `sorted` values that are `share` of them all; of equals the first.
fn shortest(sorted: &[f64], share: f64) -> Option<&[f64]> {
    let count = ((share * sorted.len() as f64).round() as usize).max(1);
    sorted.windows(count).min_by(|a, b| (a[count - 1] - a[0]).total_cmp(&(b[count - 1] - b[0])))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, LogNormal};
    use rand_pcg::Pcg64Mcg;

    #[test]
    fn the_middle_four_fifths_of_eleven_values_leave_one_on_each_side() {
        let values: Vec<f64> = (0..11).map(f64::from).collect();
        assert_eq!(Span::of(&values), Some(Span { low: 1.0, middle: 5.0, high: 9.0 }));
    }

    #[test]
    fn the_densest_four_fifths_of_skew_values_leave_the_long_tail_out() {
        let values = [0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 4.0, 6.0, 20.0, 40.0];
        assert_eq!(Span::densest(&values), Some(Span { low: 0.0, middle: 2.0, high: 6.0 }));
    }

    /// The mode of a log-normal is `median exp(-spread^2)` (textbook).
    #[test]
    fn of_log_normal_values_the_middle_is_about_the_mode() {
        let mut rng = Pcg64Mcg::seed_from_u64(1);
        for spread in [0.3, 0.4, 0.5] {
            let drawn = LogNormal::new(20f64.ln(), spread).unwrap();
            let values: Vec<f64> = (0..4000).map(|_| drawn.sample(&mut rng)).collect();
            let mode = 20.0 * (-spread * spread).exp();
            let middle = Span::densest(&values).unwrap().middle;
            assert!((middle / mode - 1.0).abs() < 0.1, "{middle} for {mode}");
        }
    }

    /// What it is chosen for: of 800 values it scatters less than the middle of the shortest half.
    #[test]
    fn the_middle_scatters_less_than_that_of_the_shortest_half() {
        let mut rng = Pcg64Mcg::seed_from_u64(2);
        let drawn = LogNormal::new(20f64.ln(), 0.4).unwrap();
        let (mut middles, mut of_halves) = (Vec::new(), Vec::new());
        for _ in 0..60 {
            let mut values: Vec<f64> = (0..800).map(|_| drawn.sample(&mut rng)).collect();
            values.sort_by(f64::total_cmp);
            middles.push(Span::densest(&values).unwrap().middle);
            of_halves.push(shortest(&values, 0.5).unwrap()[200]);
        }
        let scatter = |values: &[f64]| {
            let mean = values.iter().sum::<f64>() / 60.0;
            (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / 60.0).sqrt()
        };
        let (ours, theirs) = (scatter(&middles), scatter(&of_halves));
        assert!(ours < 0.6 * theirs, "{ours} against {theirs}");
    }

    proptest::proptest! {
        #[test]
        fn the_densest_interval_holds_four_fifths_and_its_own_middle(
            values in proptest::collection::vec(0.0..90.0f64, 1..200)
        ) {
            let densest = Span::densest(&values).unwrap();
            let held = values.iter().filter(|value| (densest.low..=densest.high).contains(*value)).count();
            proptest::prop_assert!(held as f64 >= 0.8 * values.len() as f64 - 0.5);
            proptest::prop_assert!(densest.low <= densest.middle && densest.middle <= densest.high);
        }
    }

    #[test]
    fn never_counts_as_later_than_any_day() {
        let span = Span::of(&[1.0, 2.0, f64::INFINITY, f64::INFINITY, f64::INFINITY]).unwrap();
        assert!(span.middle.is_infinite() && span.low.is_finite());
    }

    #[test]
    fn nothing_has_no_span() {
        assert_eq!(Span::of(&[]), None);
    }
}
