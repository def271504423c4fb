//! Student's t distribution.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The value that Student's t of `degrees` degrees of freedom stays below with probability `p`.
///
/// Infinite `degrees` give the normal quantile. `None` unless 0 < `p` < 1 and `degrees` > 0.
pub fn t_quantile(p: f64, degrees: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    if degrees == f64::INFINITY {
        return Some(Normal::standard().inverse_cdf(p));
    }
    // The library's inversion is by bisection with a coarse end: a few Newton steps finish it.
    let law = StudentsT::new(0.0, 1.0, degrees).ok()?;
    let mut t = law.inverse_cdf(p);
    for _ in 0..3 {
        let step = (law.cdf(t) - p) / statrs::distribution::Continuous::pdf(&law, t);
        t -= if step.is_finite() { step } else { 0.0 };
    }
    Some(t)
}

/// Half-width of a two-sided interval in standard uncertainties: `t` at (1 + `level`) / 2.
pub fn coverage_factor(level: f64, degrees: f64) -> Option<f64> {
    t_quantile((1.0 + level) / 2.0, degrees)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2, one-sided; three printed decimals.
    #[test]
    fn quantiles_agree_with_the_handbook_table() {
        let table = [
            (1.0, [3.078, 6.314, 12.706, 31.821, 63.657]),
            (2.0, [1.886, 2.920, 4.303, 6.965, 9.925]),
            (3.0, [1.638, 2.353, 3.182, 4.541, 5.841]),
            (4.0, [1.533, 2.132, 2.776, 3.747, 4.604]),
            (5.0, [1.476, 2.015, 2.571, 3.365, 4.032]),
            (6.0, [1.440, 1.943, 2.447, 3.143, 3.707]),
            (7.0, [1.415, 1.895, 2.365, 2.998, 3.499]),
            (8.0, [1.397, 1.860, 2.306, 2.896, 3.355]),
            (9.0, [1.383, 1.833, 2.262, 2.821, 3.250]),
            (10.0, [1.372, 1.812, 2.228, 2.764, 3.169]),
            (20.0, [1.325, 1.725, 2.086, 2.528, 2.845]),
            (30.0, [1.310, 1.697, 2.042, 2.457, 2.750]),
        ];
        for (degrees, row) in table {
            for (p, expected) in [0.90, 0.95, 0.975, 0.99, 0.995].into_iter().zip(row) {
                assert_abs_diff_eq!(t_quantile(p, degrees).unwrap(), expected, epsilon = 5.1e-4);
            }
        }
    }

    #[test]
    fn infinite_degrees_give_the_normal_law() {
        assert_abs_diff_eq!(t_quantile(0.95, f64::INFINITY).unwrap(), 1.6449, epsilon = 5e-5);
        assert_abs_diff_eq!(coverage_factor(0.95, f64::INFINITY).unwrap(), 1.9600, epsilon = 5e-5);
    }

    #[test]
    fn impossible_questions_have_no_answer() {
        assert_eq!(t_quantile(1.0, 5.0), None);
        assert_eq!(t_quantile(f64::NAN, 5.0), None);
        assert_eq!(t_quantile(0.5, 0.0), None);
    }
}
