//! Quantiles and shortest intervals of days, which may weigh unequally.

use super::quantile::Span;

/// Share of skew values that lie below the place where they lie most densely.
///
/// A log-normal distribution is densest at its quantile `Phi(-spread)`: 0.35 for the spread of 0.4 that days
/// have. Looking for the densest place itself finds the same, but scatters more from sample to sample.
const DENSEST: f64 = 0.35;

/// Days with their weights, by day.
pub struct Weighted {
    sorted: Vec<(f64, f64)>,
    total: f64,
}

impl Weighted {
    /// Pairs `values` with `weights`.
    pub fn new(values: &[f64], weights: &[f64]) -> Self {
        let mut sorted: Vec<(f64, f64)> = values.iter().copied().zip(weights.iter().copied()).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total = sorted.iter().map(|(_, weight)| weight).sum();
        Self { sorted, total }
    }

    /// Each of `values` weighs the same.
    pub fn even(values: &[f64]) -> Self {
        Self::new(values, &vec![1.0; values.len()])
    }

    /// Only the finite ones.
    pub fn finite(mut self) -> Self {
        self.sorted.retain(|(value, _)| value.is_finite());
        self.total = self.sorted.iter().map(|(_, weight)| weight).sum();
        self
    }

    /// The least value that has at least `share` of the weight up to and with it; `None` if there are none.
    pub fn quantile(&self, share: f64) -> Option<f64> {
        let mut below = 0.0;
        let enough = self.sorted.iter().find(|(_, weight)| {
            below += weight;
            below >= share * self.total
        });
        enough.or(self.sorted.last()).map(|(value, _)| *value)
    }

    /// Share of the weight that infinite values have.
    pub fn infinite(&self) -> f64 {
        let infinite = self.sorted.iter().filter(|(value, _)| value.is_infinite());
        infinite.map(|(_, weight)| weight).sum::<f64>() / self.total
    }

    /// Median and the middle 80 %.
    pub fn span(&self) -> Option<Span> {
        Some(Span { low: self.quantile(0.1)?, middle: self.quantile(0.5)?, high: self.quantile(0.9)? })
    }

    /// The shortest interval with 80 % of the weight, and about where finite values lie most densely; `None`
    /// if there are none. For skew values it is much shorter than the middle one and as sure.
    pub fn densest(&self) -> Option<Span> {
        let middle = self.quantile(DENSEST)?;
        let (low, high) = self.shortest(0.8)?;
        Some(Span { low: low.min(middle), middle, high: high.max(middle) })
    }

    /// The closest two values that have `share` of the weight between and with them; of equals the first.
    fn shortest(&self, share: f64) -> Option<(f64, f64)> {
        let asked = share * self.total * (1.0 - 1e-9);
        let (mut last, mut held) = (0, 0.0);
        let mut best: Option<(f64, f64)> = None;
        for (low, weight) in &self.sorted {
            while held < asked && last < self.sorted.len() {
                held += self.sorted[last].1;
                last += 1;
            }
            if held < asked {
                break;
            }
            let high = self.sorted[last - 1].0;
            if best.is_none_or(|(from, until)| high - low < until - from) {
                best = Some((*low, high));
            }
            held -= weight;
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, LogNormal};
    use rand_pcg::Pcg64Mcg;

    const DAYS: [f64; 10] = [0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 4.0, 6.0, 20.0, 40.0];

    #[test]
    fn even_weights_leave_the_long_tail_out() {
        let even = Weighted::new(&DAYS, &[2.0; 10]);
        assert_eq!(even.densest(), Some(Span { low: 0.0, middle: 2.0, high: 6.0 }));
        assert_eq!(even.span(), Some(Span { low: 0.0, middle: 2.0, high: 20.0 }));
    }

    /// The mode of a log-normal is `median exp(-spread^2)` (textbook).
    #[test]
    fn of_log_normal_values_the_middle_is_about_the_mode() {
        let mut rng = Pcg64Mcg::seed_from_u64(1);
        for spread in [0.3, 0.4, 0.5] {
            let drawn = LogNormal::new(20f64.ln(), spread).unwrap();
            let values: Vec<f64> = (0..4000).map(|_| drawn.sample(&mut rng)).collect();
            let mode = 20.0 * (-spread * spread).exp();
            let middle = Weighted::even(&values).densest().unwrap().middle;
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
            let even = Weighted::even(&values);
            middles.push(even.densest().unwrap().middle);
            let (low, high) = even.shortest(0.5).unwrap();
            let half: Vec<f64> = values.into_iter().filter(|value| (low..=high).contains(value)).collect();
            of_halves.push(half[half.len() / 2]);
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
            let densest = Weighted::even(&values).densest().unwrap();
            let held = values.iter().filter(|value| (densest.low..=densest.high).contains(*value)).count();
            proptest::prop_assert!(held as f64 >= 0.8 * values.len() as f64 - 0.5);
            proptest::prop_assert!(densest.low <= densest.middle && densest.middle <= densest.high);
        }
    }

    /// A weight of three is three tanks.
    #[test]
    fn a_weight_counts_as_so_many_tanks() {
        let thrice: Vec<f64> = DAYS.iter().flat_map(|day| [*day; 3]).collect();
        let many = Weighted::new(&[&thrice[..], &[7.0]].concat(), &[1.0; 31]);
        let heavy = Weighted::new(
            &[&DAYS[..], &[7.0]].concat(),
            &[3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 1.0],
        );
        assert_eq!(many.densest(), heavy.densest());
        assert_eq!(many.span(), heavy.span());
    }

    #[test]
    fn infinite_days_count_in_quantiles_and_not_in_the_densest_interval() {
        let days = [1.0, 2.0, f64::INFINITY, f64::INFINITY];
        let all = Weighted::new(&days, &[1.0, 1.0, 1.0, 3.0]);
        assert_eq!(all.quantile(0.5), Some(f64::INFINITY));
        assert!((all.infinite() - 4.0 / 6.0).abs() < 1e-12);
        assert_eq!(all.finite().densest(), Some(Span { low: 1.0, middle: 1.0, high: 2.0 }));
        assert_eq!(Weighted::new(&[], &[]).densest(), None);
    }
}
