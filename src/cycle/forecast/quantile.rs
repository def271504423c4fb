//! Quantiles of a sample that may hold infinities ("never").

/// The quantile `share` of equally weighted `values`, lower of the two neighbours; `None` if empty.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let rank = (share * last as f64).round() as usize;
    sorted.get(rank.min(last)).copied()
}

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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_four_fifths_of_eleven_values_leave_one_on_each_side() {
        let values: Vec<f64> = (0..11).map(f64::from).collect();
        assert_eq!(Span::of(&values), Some(Span { low: 1.0, middle: 5.0, high: 9.0 }));
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
