//! Adding a photo of a standard to a chart.

use chrono::{DateTime, FixedOffset};

use super::calibrate::{CalibrationError, Observation, Photo, calibrate};
use super::file::Chart;
use super::history::{self, Gain, Revision, Source, Step};
use super::kept;
use super::quality;
use crate::terms::Analyte;

/// Why a photo cannot be added.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AddError {
    /// A chart of the first file version.
    #[error(
        "chart {chart:?} was written by an early version that did not keep what a new fit needs: make it anew with --standards from all its photos, once; then photos can be added"
    )]
    NotKept {
        /// Its name.
        chart: String,
    },
    /// The same photo again.
    #[error(
        "{photo} is in chart {chart:?} already, as {known} in revision {revision}: take another photo, it would count twice"
    )]
    Again {
        /// The photo.
        photo: String,
        /// The chart.
        chart: String,
        /// Its name when it was added.
        known: String,
        /// When it was added.
        revision: u32,
    },
    /// What it holds is none of the chart's.
    #[error("chart {chart:?} does not read {analyte}: add it to the chart of that test")]
    OtherAnalyte {
        /// The chart.
        chart: String,
        /// What the photo holds.
        analyte: Analyte,
    },
    /// The fit fails with it.
    #[error("with it the chart cannot be fitted: {0}")]
    Fit(#[from] CalibrationError),
}

/// Fits the chart anew with one more photo; the new revision says what it gained.
///
/// # Errors
/// The chart holds the photo already, does not keep what a fit needs, or does not fit with it.
pub fn add(
    chart: &Chart,
    photo: Photo,
    samples: Vec<Observation>,
    at: DateTime<FixedOffset>,
) -> Result<Chart, AddError> {
    let name = || chart.name.clone();
    if let Some((known, revision)) = known(chart, &photo.hash) {
        return Err(AddError::Again { photo: photo.name, chart: name(), known, revision });
    }
    if let Some(sample) = samples.iter().find(|sample| chart.scale(sample.analyte).is_none()) {
        return Err(AddError::OtherAnalyte { chart: name(), analyte: sample.analyte });
    }
    let (mut photos, mut observations) =
        kept::restored(chart).ok_or_else(|| AddError::NotKept { chart: name() })?;
    let source = Source { photo: photo.name.clone(), hash: photo.hash.clone() };
    let index = photos.len();
    photos.push(photo);
    observations.extend(samples.into_iter().map(|sample| Observation { photo: index, ..sample }));
    let fitted = calibrate(&chart.name, chart.form, chart.card_version, &photos, &observations)?;
    let mut improved = chart.with_fit_of(fitted);
    let gains = improved.scales.iter().filter_map(|scale| gain(chart, &improved, scale.analyte)).collect();
    let revision = history::latest(&chart.history) + 1;
    improved.history.push(Revision { revision, at, step: Step::Added, photos: vec![source], gains });
    Ok(improved)
}

fn gain(before: &Chart, after: &Chart, analyte: Analyte) -> Option<Gain> {
    Some(Gain { analyte, before: quality::of(before, analyte)?, after: quality::of(after, analyte)? })
}

/// Name and revision under which a photo is part of the chart.
fn known(chart: &Chart, hash: &str) -> Option<(String, u32)> {
    let kept = chart.photos.iter().find(|photo| photo.hash == hash)?;
    let since = chart.history.iter().find(|r| r.photos.iter().any(|photo| photo.hash == hash));
    Some((kept.photo.clone(), since.map_or(1, |revision| revision.revision)))
}
