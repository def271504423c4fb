//! A calibration line: straight-line fit, reading it backwards, and standard addition.
//!
//! Formulas: Massart et al., Handbook of Chemometrics and Qualimetrics A (1997), eq. 8.28 for inverse
//! prediction, the same form as in ISO 8466-1; IUPAC terminology and Miller and Miller, Statistics and
//! Chemometrics for Analytical Chemistry, for standard addition. Both take the abscissae as exact and
//! the scatter of the ordinates as normal.

use super::regression::{RegressionError, check_points};
use super::student::coverage_factor;

/// A straight line y = intercept + slope x through weighted points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Rise of y with x.
    pub slope: f64,
    /// Residual standard deviation of y at unit weight.
    pub residual_sd: f64,
    /// Points less two.
    pub degrees: f64,
    weights: f64,
    mean_y: f64,
    sxx: f64,
}

/// An abscissa found from a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// The abscissa.
    pub x: f64,
    /// Its standard uncertainty.
    pub standard_error: f64,
    /// Degrees of freedom of that uncertainty.
    pub degrees: f64,
}

impl Found {
    /// Half-width of the two-sided interval of a level such as 0.95.
    pub fn half_width(&self, level: f64) -> Option<f64> {
        Some(self.standard_error * coverage_factor(level, self.degrees)?)
    }
}

impl Line {
    /// Fits a line to points of equal weight.
    ///
    /// # Errors
    /// Fewer than three points, abscissae all the same, or values not finite.
    pub fn fit(xs: &[f64], ys: &[f64]) -> Result<Self, RegressionError> {
        Self::fit_weighted(xs, ys, &vec![1.0; xs.len()])
    }

    /// Fits a line to points with weights in proportion to 1 / variance.
    ///
    /// # Errors
    /// As [`Line::fit`]; also a weight that is not positive.
    pub fn fit_weighted(xs: &[f64], ys: &[f64], weights: &[f64]) -> Result<Self, RegressionError> {
        check_points(xs, ys, 2)?;
        if xs.len() < 3 {
            return Err(RegressionError::TooFewPoints { distinct: xs.len(), terms: 3 });
        }
        if weights.len() != xs.len() || !weights.iter().all(|w| w.is_finite() && *w > 0.0) {
            return Err(RegressionError::NotFinite);
        }
        let total: f64 = weights.iter().sum();
        let mean = |values: &[f64]| weights.iter().zip(values).map(|(w, v)| w * v).sum::<f64>() / total;
        let (mean_x, mean_y) = (mean(xs), mean(ys));
        let points = || xs.iter().zip(ys).zip(weights).map(|((x, y), w)| (x - mean_x, y - mean_y, w));
        let sxx: f64 = points().map(|(dx, _, w)| w * dx * dx).sum();
        let sxy: f64 = points().map(|(dx, dy, w)| w * dx * dy).sum();
        let slope = sxy / sxx;
        let squares: f64 = points().map(|(dx, dy, w)| w * (dy - slope * dx).powi(2)).sum();
        let degrees = xs.len() as f64 - 2.0;
        let residual_sd = (squares / degrees).sqrt();
        Ok(Self {
            intercept: mean_y - slope * mean_x,
            slope,
            residual_sd,
            degrees,
            weights: total,
            mean_y,
            sxx,
        })
    }

    /// Standard error of the slope.
    pub fn slope_error(&self) -> f64 {
        self.residual_sd / self.sxx.sqrt()
    }

    /// The abscissa at which the line reaches `y`, the mean of `repeats` measurements of a weight
    /// (1 for an unweighted line); `None` for a level line.
    pub fn inverse(&self, y: f64, repeats: f64, weight: f64) -> Option<Found> {
        self.found((y - self.intercept) / self.slope, y, 1.0 / (repeats * weight))
    }

    /// Standard addition: how far left of zero the line meets the axis, which is what the sample held
    /// before anything was added; `None` for a level line.
    pub fn standard_addition(&self) -> Option<Found> {
        self.found(self.intercept / self.slope, 0.0, 0.0)
    }

    fn found(&self, x: f64, y: f64, of_measurement: f64) -> Option<Found> {
        if self.slope == 0.0 || !x.is_finite() {
            return None;
        }
        let off_centre = (y - self.mean_y).powi(2) / (self.slope.powi(2) * self.sxx);
        let spread = (of_measurement + 1.0 / self.weights + off_centre).sqrt();
        let standard_error = self.residual_sd / self.slope.abs() * spread;
        Some(Found { x, standard_error, degrees: self.degrees })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::stats::{mean, standard_deviation};
    use approx::assert_abs_diff_eq;

    /// Published points of a named example.
    fn example(name: &str) -> (Vec<f64>, Vec<f64>) {
        let text = include_str!("../../fixtures/check/calibration_examples.csv");
        let rows = csv::Reader::from_reader(text.as_bytes()).into_records().map(Result::unwrap);
        rows.filter(|row| &row[0] == name)
            .map(|row| (row[1].parse::<f64>().unwrap(), row[2].parse::<f64>().unwrap()))
            .unzip()
    }

    fn line(name: &str) -> Line {
        let (xs, ys) = example(name);
        Line::fit(&xs, &ys).unwrap()
    }

    /// DIN 32645 example (10 points) as stored in the chemCal repository, whose test quotes the result of
    /// a reference program; fit recomputed with scipy.
    #[test]
    fn the_din_32645_example_is_reproduced() {
        let line = line("din32645");
        assert_abs_diff_eq!(line.intercept, 2480.86667, epsilon = 1e-5);
        assert_abs_diff_eq!(line.slope, 9661.93939, epsilon = 1e-5);
        assert_abs_diff_eq!(line.residual_sd, 192.29392, epsilon = 1e-5);
        // s / sqrt(Sxx) with Sxx = 0.20625 of ten even steps of 0.05.
        assert_abs_diff_eq!(line.slope_error(), 192.29392 / 0.20625_f64.sqrt(), epsilon = 1e-3);
        let found = line.inverse(3500.0, 1.0, 1.0).unwrap();
        assert_abs_diff_eq!(found.x, 0.105479, epsilon = 5e-6);
        assert_abs_diff_eq!(found.half_width(0.99).unwrap(), 0.07434, epsilon = 5e-6);
    }

    /// Massart et al. 1997, example 1: 6.1 +- 4.9 and 43.9 +- 4.9 in the book; digits from chemCal.
    #[test]
    fn inverse_prediction_agrees_with_massart_example_1() {
        let line = line("massart97_ex1");
        let found = line.inverse(15.0, 1.0, 1.0).unwrap();
        assert_abs_diff_eq!(found.x, 6.09381, epsilon = 1e-5);
        assert_abs_diff_eq!(found.standard_error, 1.767278, epsilon = 1e-5);
        assert_abs_diff_eq!(found.half_width(0.95).unwrap(), 4.906751, epsilon = 1e-5);
        let repeated = line.inverse(90.0, 5.0, 1.0).unwrap();
        assert_abs_diff_eq!(repeated.x, 43.93983, epsilon = 1e-5);
        assert_abs_diff_eq!(repeated.half_width(0.95).unwrap(), 3.168489, epsilon = 1e-5);
    }

    /// Massart et al. 1997, example 3: weighted by the variance of five replicates at each of six levels.
    #[test]
    fn weighted_inverse_prediction_agrees_with_massart_example_3() {
        let (xs, ys) = example("massart97_ex3");
        let levels: Vec<f64> = (0..6).map(|i| 10.0 * f64::from(i)).collect();
        let at = |level: f64| {
            xs.iter().zip(&ys).filter(|(x, _)| **x == level).map(|(_, y)| *y).collect::<Vec<_>>()
        };
        let means: Vec<f64> = levels.iter().map(|&level| mean(&at(level)).unwrap()).collect();
        // As in the worked example: s to two decimals, then 1 / s^2 to three.
        let weight = |s: f64| (1000.0 / ((100.0 * s).round() / 100.0).powi(2)).round() / 1000.0;
        let weights: Vec<f64> =
            levels.iter().map(|&level| weight(standard_deviation(&at(level)).unwrap())).collect();
        let line = Line::fit_weighted(&levels, &means, &weights).unwrap();
        let low = line.inverse(15.0, 1.0, 1.67).unwrap();
        assert_abs_diff_eq!(low.x, 5.865367, epsilon = 1e-6);
        assert_abs_diff_eq!(low.standard_error, 0.8926109, epsilon = 1e-6);
        assert_abs_diff_eq!(low.half_width(0.95).unwrap(), 2.478285, epsilon = 1e-5);
        let high = line.inverse(90.0, 1.0, 0.145).unwrap();
        assert_abs_diff_eq!(high.x, 44.06025, epsilon = 1e-4);
        assert_abs_diff_eq!(high.half_width(0.95).unwrap(), 7.85501, epsilon = 1e-4);
    }

    /// Harvey, Analytical Chemistry 2.1, chapter 5, problem 9 (solutions manual: b0 0.5955, b1 0.009713,
    /// s 0.00155, C 12.3); the half-width recomputed with scipy. The sample's volume was 5.00 mL.
    #[test]
    fn standard_addition_agrees_with_harvey_problem_9() {
        let line = line("harvey_std_addition_problem9");
        assert_abs_diff_eq!(line.intercept, 0.5955, epsilon = 5e-5);
        // The slope is 0.0097125 exactly, which the manual rounds up.
        assert_abs_diff_eq!(line.slope, 0.009713, epsilon = 5.01e-7);
        assert_abs_diff_eq!(line.residual_sd, 0.00155, epsilon = 5e-6);
        let found = line.standard_addition().unwrap();
        assert_abs_diff_eq!(found.x / 5.0, 12.26255, epsilon = 1e-5);
        assert_abs_diff_eq!(found.half_width(0.95).unwrap() / 5.0, 0.170, epsilon = 5e-4);
    }

    /// A teaching sheet (aluminium in a gum) has the fit; its uncertainty adds a term "1 +" that the
    /// IUPAC formula has not (DIFFERENCE: 0.001684 in the sheet, 0.001345 by the formula).
    #[test]
    fn standard_addition_agrees_with_the_aluminium_example() {
        let line = line("std_addition_fixed_volume_Al");
        assert_abs_diff_eq!(line.intercept, 0.2140, epsilon = 5e-5);
        assert_abs_diff_eq!(line.slope, 1.7100, epsilon = 5e-5);
        assert_abs_diff_eq!(line.residual_sd, 1.7321e-3, epsilon = 5e-8);
        let found = line.standard_addition().unwrap();
        assert_abs_diff_eq!(found.x, 0.1251, epsilon = 5e-5);
        assert_abs_diff_eq!(found.standard_error, 0.001345, epsilon = 5e-7);
    }

    #[test]
    fn two_points_or_a_level_line_tell_nothing() {
        assert!(Line::fit(&[0.0, 1.0], &[0.0, 1.0]).is_err());
        let level = Line::fit(&[0.0, 1.0, 2.0], &[5.0, 5.0, 5.0]).unwrap();
        assert_eq!(level.standard_addition(), None);
    }
}
