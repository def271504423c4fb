//! How an indicator answers to its analyte: the coordinate in which a chart's path is nearly straight.

use serde::{Deserialize, Serialize};

use crate::terms::Analyte;

/// A coordinate that grows with the analyte and in which absorbance is nearly a straight line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Response {
    /// An acid-base indicator: share of the basic form, by the mass action law.
    Indicator {
        /// pH at which half of the indicator is in its basic form.
        half_point: f64,
    },
    /// A colour reaction that runs out of reagent or of light: value / (1 + value / half point).
    Saturating {
        /// Value at which half the limit is reached, in the analyte's unit.
        half_point: f64,
    },
}

impl Response {
    /// The forms to try for levels from `first` to `last` with mean `mean`.
    pub fn candidates(analyte: Analyte, mean: f64, last: f64) -> Vec<Self> {
        if analyte == Analyte::Ph {
            let offsets = [-0.6, -0.3, 0.0, 0.3, 0.6, 0.9];
            offsets.into_iter().map(|offset| Self::Indicator { half_point: mean + offset }).collect()
        } else {
            let shares = [0.1, 0.2, 0.4, 1.0, 3.0];
            shares.into_iter().map(|share| Self::Saturating { half_point: last * share }).collect()
        }
    }

    /// Coordinate of a value. Below zero a saturating response goes on straight.
    pub fn coordinate(&self, value: f64) -> f64 {
        match *self {
            Self::Indicator { half_point } => 1.0 / (1.0 + 10_f64.powf(half_point - value)),
            Self::Saturating { half_point } => value / (1.0 + value.max(0.0) / half_point),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Henderson-Hasselbalch: at the half point one half, one unit above ten elevenths.
    #[test]
    fn an_indicator_follows_the_mass_action_law() {
        let response = Response::Indicator { half_point: 7.1 };
        assert!((response.coordinate(7.1) - 0.5).abs() < 1e-12);
        assert!((response.coordinate(8.1) - 10.0 / 11.0).abs() < 1e-12);
    }

    #[test]
    fn a_saturating_response_is_half_way_at_its_half_point() {
        let response = Response::Saturating { half_point: 4.0 };
        assert!((response.coordinate(4.0) - 2.0).abs() < 1e-12);
        assert!((response.coordinate(-0.5) + 0.5).abs() < 1e-12);
    }
}
