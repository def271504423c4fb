//! One analyte's scale within a chart: levels, path, limits.

use std::fmt;
use std::sync::{Arc, OnceLock};

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::file::Form;
use super::fit::Fit;
use super::matching::{self, Circumstances, Match};
use super::nearest::Nearest;
use super::path::Path;
use super::response::Response;
use crate::sample::Veil;
use crate::terms::space::Relative;
use crate::terms::{Analyte, Unit};

/// One level of a scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Level {
    /// Value, in the scale's unit.
    pub value: f64,
    /// Decadic absorbance in the reference view, red, green, blue.
    pub absorbance: [f64; 3],
    /// Photos it rests on.
    pub photos: usize,
    /// Relative standard uncertainty of the standard's value.
    #[serde(default)]
    pub uncertainty: f64,
    /// Variance of the absorbance, as far as readings do not take it for unknown anyway; none in charts
    /// that were made before it was kept.
    #[serde(default)]
    pub doubt: [f64; 3],
}

/// What can be told from a blank (Currie, Anal. Chem. 40:586, 1968; IUPAC, Pure Appl. Chem. 67:1699,
/// 1995; known standard deviation, 5 % risk of either error).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DetectionLimits {
    /// Standard deviation of a blank's reading.
    pub blank_sd: f64,
    /// Decision limit, 1.645 standard deviations: a value below is not told from a blank.
    pub decision: f64,
    /// Detection limit, 3.29 standard deviations: a value above is hardly ever missed.
    pub detection: f64,
}

/// Quantile of the normal law for a 5 % risk on one side.
const ONE_SIDED_95: f64 = 1.644_853_626_951;

impl DetectionLimits {
    /// Limits of a known standard deviation of the blank.
    pub fn of_blank(blank_sd: f64) -> Self {
        Self { blank_sd, decision: ONE_SIDED_95 * blank_sd, detection: 2.0 * ONE_SIDED_95 * blank_sd }
    }
}

/// Errors of photos of standards read with a chart made without them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CrossValidation {
    /// Photos read.
    pub photos: usize,
    /// Median absolute error, steps.
    pub median_steps: f64,
    /// 95th percentile of the absolute error, steps.
    pub p95_steps: f64,
    /// Share of the intervals that hold the true value.
    pub coverage: f64,
}

/// One analyte's scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// What is measured.
    pub analyte: Analyte,
    /// Unit of all values.
    pub unit: Unit,
    /// Levels, by value.
    pub levels: Vec<Level>,
    /// Coordinate in which the path is smooth.
    pub response: Response,
    /// How absorbance moves along with the lamp, row by row.
    pub lamp: [[f64; 3]; 3],
    /// Whether it rests on printed swatches.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_provisional: bool,
    /// Limits, for a concentration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<DetectionLimits>,
    /// Cross-validated errors.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cross_validation: Option<CrossValidation>,
    /// Made when first asked for.
    #[serde(skip)]
    pub(super) rulers: Rulers,
}

impl Scale {
    /// The scale ready for matching; `None` if its numbers do not make a path. It is made once, and the
    /// scale is not to be changed after that.
    pub fn ruler(&self, form: Form) -> Option<&Ruler> {
        self.rulers.of[form as usize].get_or_init(|| self.make_ruler(form).map(Arc::new)).as_deref()
    }

    fn make_ruler(&self, form: Form) -> Option<Ruler> {
        let fit = Fit {
            response: self.response,
            absorbance: self.levels.iter().map(|level| Vector3::from(level.absorbance)).collect(),
            lamp: Matrix3::from_fn(|row, column| self.lamp[row][column]),
            priors: form.priors(),
            doubt: self.levels.iter().map(|level| Vector3::from(level.doubt)).collect(),
            cost: 0.0,
        };
        let values: Vec<f64> = self.levels.iter().map(|level| level.value).collect();
        if values.len() < 2 {
            return None;
        }
        let uncertainties: Vec<f64> =
            self.levels.iter().map(|level| level.uncertainty * level.value).collect();
        let path = Path::new(&values, &fit)?.with_value_uncertainty(&uncertainties);
        let nearest = Nearest::new(&path)?;
        Some(Ruler { path, nearest })
    }
}

/// A scale's rulers, one for each form: they follow from the scale's numbers, so all are alike.
#[derive(Clone, Default)]
pub(super) struct Rulers {
    of: [OnceLock<Option<Arc<Ruler>>>; 2],
}

impl fmt::Debug for Rulers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Rulers")
    }
}

impl PartialEq for Rulers {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// A scale ready for matching.
pub struct Ruler {
    /// The path of colours.
    pub path: Path,
    /// Its colours in a tree.
    pub nearest: Nearest,
}

impl Ruler {
    /// Matches a colour in the reference view.
    pub fn match_colour(&self, colour: Relative, circumstances: &Circumstances) -> Match {
        matching::match_colour(&self.path, colour, circumstances)
    }

    /// Matches the colour of a liquid behind glass that some veil may lie on.
    pub fn match_behind_veil(&self, colour: Relative, circumstances: &Circumstances, veil: Veil) -> Match {
        matching::match_behind_veil(&self.path, colour, circumstances, veil)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Currie 1968, well-known blank: 1.6449 and 3.2897 standard deviations.
    #[test]
    fn detection_limits_are_those_of_currie() {
        let limits = DetectionLimits::of_blank(1.0);
        assert!((limits.decision - 1.6449).abs() < 5e-5);
        assert!((limits.detection - 3.2897).abs() < 5e-5);
    }
}
