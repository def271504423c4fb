//! How good a scale is: how wide it reads, and how far off its own standards.

use serde::{Deserialize, Serialize};

use super::calibrate::{Observation, Photo};
use super::file::Chart;
use super::kept::{self, Origin};
use super::matching::{Circumstances, Outcome, typical_light};
use super::scale::{Ruler, Scale};
use crate::colour::Correction;
use crate::math::stats;
use crate::terms::Analyte;

/// Circumstances of a good photo, for which the typical interval is quoted.
const GOOD_PHOTO: Circumstances =
    Circumstances { residual: 0.03, hue_shift: 0.03, lamp: (0.0, 0.15), mixed: [0.0; 3], unevenness: 0.0 };

/// Figures of one scale, in steps between neighbouring levels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quality {
    /// Width of the 95 % interval in a good photo, mean over the levels.
    pub interval_steps: f64,
    /// Root mean square error of the chart's own solutions read with it; none without solutions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residual_steps: Option<f64>,
    /// Median error of solutions read with charts made without them, where their level has another
    /// photo or swatch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cross_validated_steps: Option<f64>,
}

/// Quality of one scale; `None` if the chart does not keep its samples or has no such scale.
pub fn of(chart: &Chart, analyte: Analyte) -> Option<Quality> {
    let scale = chart.scale(analyte)?;
    let ruler = scale.ruler(chart.form)?;
    let (photos, observations) = kept::restored(chart)?;
    let own: Vec<&Observation> =
        observations.iter().filter(|own| own.analyte == analyte && own.origin == Origin::Solution).collect();
    let squares: Vec<f64> =
        own.iter().filter_map(|own| Some(error(chart, ruler, &photos, own)?.powi(2))).collect();
    Some(Quality {
        interval_steps: interval(scale, ruler)?,
        residual_steps: stats::mean(&squares).map(f64::sqrt),
        cross_validated_steps: scale.cross_validation.map(|check| check.median_steps),
    })
}

/// Mean width over the levels' own colours.
fn interval(scale: &Scale, ruler: &Ruler) -> Option<f64> {
    let width = |value: f64| {
        let light = typical_light(&ruler.path, value);
        let (low, high) = match ruler.match_colour(light, &GOOD_PHOTO).outcome {
            Outcome::Within { low, high, .. } => (low, high),
            Outcome::Above { low } => (low, ruler.path.last()),
            Outcome::OffPath => (ruler.path.first(), ruler.path.last()),
        };
        (high - low) / ruler.path.step_at(value)
    };
    stats::mean(&scale.levels.iter().map(|level| width(level.value)).collect::<Vec<_>>())
}

/// Error of one solution read with the chart, steps; a colour off the path counts as a whole chart.
fn error(chart: &Chart, ruler: &Ruler, photos: &[Photo], own: &Observation) -> Option<f64> {
    let photo = photos.get(own.photo)?;
    let correction = Correction::fit(&photo.patches, &chart.reference.patches).ok()?;
    let lamp = chart.reference.score(&photo.patches);
    let circumstances = Circumstances::of(&correction, &lamp, &photo.mixed, own.unevenness);
    let value = match ruler.match_colour(correction.apply(own.colour), &circumstances).outcome {
        Outcome::Within { value, .. } => value,
        Outcome::Above { .. } => ruler.path.last(),
        Outcome::OffPath => return Some(ruler.path.levels.len() as f64),
    };
    Some((value - own.value) / ruler.path.step_at(own.value))
}
