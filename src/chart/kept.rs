//! What a chart keeps of the photos it was made from, so that it can be fitted anew without them.

use serde::{Deserialize, Serialize};

use super::calibrate::{Observation, Photo};
use super::file::Chart;
use crate::colour::{MixedLight, PatchColours};
use crate::terms::Analyte;
use crate::terms::space::Relative;

/// What a known value rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// A standard solution, tested with the kit.
    #[default]
    Solution,
    /// A printed colour of known level.
    Swatch,
}

/// A photo of standards or swatches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptPhoto {
    /// The file, as given.
    pub photo: String,
    /// Hash of its content, the same whatever its name or metadata.
    pub hash: String,
    /// The card's patches in it relative to bare paper; `null` where one could not be used.
    pub patches: Vec<Option<Relative>>,
    /// Number of patches that were clipped.
    pub clipped: usize,
    /// What mixed light may do to the sample in it, natural logarithm for each channel.
    pub mixed: [f64; 3],
}

/// One sample a chart was made from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StandardPhoto {
    /// The file, as given.
    pub photo: String,
    /// What the standard held.
    pub analyte: Analyte,
    /// Its value, in the scale's unit.
    pub value: f64,
    /// Colour relative to paper, in the reference view.
    pub colour: Relative,
    /// What it was measured as; absent in files of version 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<Measured>,
}

/// A sample as it was measured, before its photo was brought to the reference view.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Index of its photo among the chart's photos.
    pub photo: usize,
    /// Solution or printed swatch.
    pub origin: Origin,
    /// Colour relative to paper, as its photo shows it.
    pub colour: Relative,
    /// Relative standard uncertainty of its known value.
    pub uncertainty: f64,
    /// Relative scatter over the sample.
    pub unevenness: f64,
}

impl From<&Photo> for KeptPhoto {
    fn from(photo: &Photo) -> Self {
        Self {
            photo: photo.name.clone(),
            hash: photo.hash.clone(),
            patches: photo.patches.relative.clone(),
            clipped: photo.patches.clipped,
            mixed: photo.mixed.gain,
        }
    }
}

impl From<&KeptPhoto> for Photo {
    fn from(kept: &KeptPhoto) -> Self {
        Self {
            name: kept.photo.clone(),
            hash: kept.hash.clone(),
            patches: PatchColours { relative: kept.patches.clone(), clipped: kept.clipped },
            mixed: MixedLight { gain: kept.mixed, is_flagged: false },
        }
    }
}

/// Photos and samples as [`super::calibrate::calibrate`] takes them; `None` if the file, of an older
/// version, does not keep them.
pub fn restored(chart: &Chart) -> Option<(Vec<Photo>, Vec<Observation>)> {
    let observation = |standard: &StandardPhoto| {
        let measured = standard.measured?;
        Some(Observation {
            photo: measured.photo,
            analyte: standard.analyte,
            value: standard.value,
            value_uncertainty: measured.uncertainty,
            colour: measured.colour,
            unevenness: measured.unevenness,
            origin: measured.origin,
        })
    };
    let observations: Vec<Observation> = chart.standards.iter().map(observation).collect::<Option<_>>()?;
    Some((chart.photos.iter().map(Photo::from).collect(), observations))
}
