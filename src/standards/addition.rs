//! Standard addition: the tank's own water with known amounts added, read, and traced back to zero.
//!
//! It finds what a sample holds even where salt, colour or hardness change how strongly the test
//! responds, and the slope tells by how much they do. Every flask is filled to the same volume, so that
//! the sample is equally diluted in all.

use super::error::StandardsError;
use crate::math::line::{Found, Line};

/// Largest number of additions that a plan makes besides the bare sample.
const STEPS: [f64; 4] = [0.0, 0.5, 1.0, 1.5];

/// Rises of concentration in the filled flasks for a sample of about `expected`: up to one and a half
/// times what the diluted sample itself brings, the usual span (common practice, no source).
pub fn rises(expected: f64, sample_share: f64) -> Vec<f64> {
    STEPS.iter().map(|step| step * expected * sample_share).collect()
}

/// What standard addition finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evaluation {
    /// Concentration in the undiluted sample.
    pub sample: Found,
    /// Reading gained for each unit added: 1 where the water does not disturb the test.
    pub response: f64,
    /// Standard error of the response.
    pub response_error: f64,
    /// Concentration by the reading of the bare, diluted sample alone.
    pub direct: f64,
}

impl Evaluation {
    /// Whether the response differs from 1 by more than chance explains, at a level such as 0.95.
    pub fn is_disturbed(&self, level: f64) -> bool {
        let factor = crate::math::student::coverage_factor(level, self.sample.degrees);
        factor.is_some_and(|t| (self.response - 1.0).abs() > t * self.response_error)
    }
}

/// Evaluates readings against the rises of concentration in the filled flasks, both in one unit.
///
/// `sample_share` is the share of each flask that is sample water.
///
/// # Errors
/// Fewer than three flasks, none without addition, a response that is not positive, or numbers out of range.
pub fn evaluate(rises: &[f64], readings: &[f64], sample_share: f64) -> Result<Evaluation, StandardsError> {
    if !(sample_share > 0.0 && sample_share <= 1.0) {
        let (what, range) = ("the sample's share of the flask", "above 0 and at most 1");
        return Err(StandardsError::OutOfRange { what, value: sample_share, range });
    }
    let bare = rises.iter().position(|&rise| rise == 0.0);
    let Some(bare) = bare else {
        return Err(refused("one flask must hold the sample with nothing added: 0=READING"));
    };
    if rises.iter().any(|rise| *rise < 0.0) {
        return Err(refused("an addition below zero is impossible"));
    }
    let line = Line::fit(rises, readings).map_err(|error| StandardsError::Addition(error.to_string()))?;
    let found = line.standard_addition().filter(|_| line.slope > 0.0);
    let Some(found) = found else {
        return Err(refused(
            "the readings do not rise with what was added: check the order of the flasks, and whether the readings are within the chart",
        ));
    };
    let undiluted =
        Found { x: found.x / sample_share, standard_error: found.standard_error / sample_share, ..found };
    Ok(Evaluation {
        sample: undiluted,
        response: line.slope,
        response_error: line.slope_error(),
        direct: readings[bare] / sample_share,
    })
}

fn refused(why: &str) -> StandardsError {
    StandardsError::Addition(why.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Harvey, Analytical Chemistry 2.1, chapter 5, problem 9: 5.00 mL of sample in each flask; with signal
    /// times volume against standard times volume, C = 12.3 (solutions manual).
    #[test]
    fn a_textbook_problem_comes_out_as_printed() {
        let (added, signal) = ([0.0, 60.0, 120.0, 180.0], [0.595, 1.1781, 1.7628, 2.3426]);
        // Per volume of the sample: the share of 5 in 1 scales the amounts to concentrations.
        let amounts: Vec<f64> = added.iter().map(|amount| amount / 5.0).collect();
        let found = evaluate(&amounts, &signal, 1.0).unwrap();
        assert_abs_diff_eq!(found.sample.x, 12.26255, epsilon = 1e-5);
        assert_abs_diff_eq!(found.sample.half_width(0.95).unwrap(), 0.170, epsilon = 5e-4);
    }

    /// By hand: 80 mL of water of 10 mg/L in 100 mL flasks gives 8; a test that responds with 0.7.
    #[test]
    fn a_disturbed_test_is_told_and_set_right() {
        let rises = rises(10.0, 0.8);
        assert_eq!(rises, [0.0, 4.0, 8.0, 12.0]);
        let scatter = [0.02, -0.03, 0.01, 0.0];
        let readings: Vec<f64> = rises.iter().zip(scatter).map(|(rise, e)| 0.7 * (8.0 + rise) + e).collect();
        let found = evaluate(&rises, &readings, 0.8).unwrap();
        assert_abs_diff_eq!(found.sample.x, 10.0, epsilon = 0.1);
        assert_abs_diff_eq!(found.direct, 7.0, epsilon = 0.05);
        assert!(found.is_disturbed(0.95));
    }

    #[test]
    fn an_undisturbed_test_is_not_blamed() {
        let found = evaluate(&[0.0, 5.0, 10.0, 15.0], &[10.2, 14.8, 20.3, 24.9], 1.0).unwrap();
        assert!(!found.is_disturbed(0.95));
    }

    #[test]
    fn what_cannot_be_evaluated_is_refused_with_the_mend() {
        let message = |rises: &[f64], readings: &[f64], share| {
            evaluate(rises, readings, share).unwrap_err().to_string()
        };
        assert!(message(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], 1.0).contains("nothing added"));
        assert!(message(&[0.0, 1.0], &[1.0, 2.0], 1.0).contains("add points"));
        assert!(message(&[0.0, 1.0, 2.0], &[3.0, 2.0, 1.0], 1.0).contains("do not rise"));
        assert!(message(&[0.0, 1.0, 2.0], &[1.0, 2.0, 3.0], 1.5).contains("at most 1"));
    }
}
