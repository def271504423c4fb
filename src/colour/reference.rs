//! The reference view: how one printed card looks in the photos of a chart's standards.
//!
//! Besides the mean patches it keeps the direction in which the standards' photos differ most among
//! themselves: that of their lamps' spectra. A dye and the printing inks answer differently to it, so
//! the chart learns how its own colours move along with it.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::patches::PatchColours;
use crate::terms::range::within;
use crate::terms::space::Relative;

/// Darkest relative light of a patch in the reference.
const DARKEST: f64 = 1e-3;
/// Light at which a patch's deviation counts half as much.
const HALF_WEIGHT: f64 = 0.03;
/// Largest deviation that counts, natural logarithm: beyond it lies a finger or sheen, not a lamp.
const MOST_DEVIATION: f64 = 0.4;
/// Least spread of the photos that is taken in: one alone, or several alike, have none.
const LEAST_SPREAD: f64 = 1e-6;
/// Light of a patch against paper in a chart's file: a ten-thousandth is darker than any print, and no print
/// sends back ten times as much as the paper it is printed on.
const PATCH_LIGHT: std::ops::RangeInclusive<f64> = 1e-4..=10.0;
/// Share by which rounding moves a number.
const ROUNDING: f64 = 1e-6;
/// Largest lamp score that is believed, in standard deviations of the standards' scores.
const MOST_SCORE: f64 = 1.5;
/// A photo whose remaining deviation is this many times the standards' is half trusted.
const TRUST_RATIO: f64 = 3.0;
/// Standard uncertainty of a trusted lamp score.
const SCORE_SD: f64 = 0.15;

/// How one printed card looks in its reference view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReferenceView {
    /// Patches relative to bare paper, in the layout's order.
    pub patches: Vec<Relative>,
    /// Mean deviation of the standards' photos.
    mean: Vec<f64>,
    /// Direction in which they differ most, unit length.
    direction: Vec<f64>,
    /// Standard deviation of their scores along it.
    score_sd: f64,
    /// Root mean square of what is left beside it.
    rest: f64,
}

/// Where a photo's lamp lies between those of the standards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LampScore {
    /// Score in standard deviations of the standards' scores.
    pub mean: f64,
    /// Standard uncertainty.
    pub sd: f64,
}

impl ReferenceView {
    /// Learns the view from the patches of the standards' photos; `None` without a photo that shows
    /// each patch.
    pub fn learn(photos: &[PatchColours]) -> Option<Self> {
        let count = photos.first()?.relative.len();
        let patches: Vec<Relative> = (0..count).map(|k| mean_patch(photos, k)).collect::<Option<_>>()?;
        let rows: Vec<Vec<f64>> = photos.iter().map(|photo| deviation(photo, &patches)).collect();
        let size = 3 * count;
        let mean: Vec<f64> =
            (0..size).map(|k| rows.iter().map(|row| row[k]).sum::<f64>() / rows.len() as f64).collect();
        let centred = DMatrix::from_fn(rows.len(), size, |i, k| rows[i][k] - mean[k]);
        let svd = centred.clone().svd(false, true);
        let main = svd.singular_values.imax();
        let direction: Vec<f64> = svd.v_t?.row(main).iter().copied().collect();
        let scores: Vec<f64> = centred.row_iter().map(|row| dot(row.iter(), &direction)).collect();
        let photos = rows.len() as f64;
        let score_sd = (scores.iter().map(|score| score * score).sum::<f64>() / photos).sqrt();
        let total: f64 = centred.iter().map(|value| value * value).sum();
        let rest = ((total / photos - score_sd * score_sd).max(0.0)).sqrt();
        Some(Self {
            patches,
            mean,
            direction,
            score_sd: score_sd.max(LEAST_SPREAD),
            rest: rest.max(LEAST_SPREAD),
        })
    }

    /// Whether the parts belong together and are what photos can give: a file may be damaged.
    ///
    /// # Errors
    /// Which number is wrong, and what is possible there.
    pub fn check(&self) -> Result<(), String> {
        let size = 3 * self.patches.len();
        if self.patches.is_empty() || self.mean.len() != size || self.direction.len() != size {
            return Err(format!(
                "reference holds {} patches, {} numbers in mean and {} in direction, but there are three to a patch",
                self.patches.len(),
                self.mean.len(),
                self.direction.len()
            ));
        }
        for (k, patch) in self.patches.iter().enumerate() {
            for (channel, &light) in patch.iter().enumerate() {
                let place = format_args!("reference.patches[{k}][{channel}]");
                within(place, light, PATCH_LIGHT, "a patch's light against paper")?;
            }
        }
        for k in 0..size {
            let deviation = MOST_DEVIATION * (1.0 + ROUNDING);
            within(
                format_args!("reference.mean[{k}]"),
                self.mean[k],
                -deviation..=deviation,
                "a mean deviation",
            )?;
            let unit = 1.0 + ROUNDING;
            within(
                format_args!("reference.direction[{k}]"),
                self.direction[k],
                -unit..=unit,
                "a part of a direction",
            )?;
        }
        // No photo is further from the mean of all, in all patches and channels together.
        let spread = LEAST_SPREAD * (1.0 - ROUNDING)..=2.0 * MOST_DEVIATION * (size as f64).sqrt();
        within(
            format_args!("reference.score_sd"),
            self.score_sd,
            spread.clone(),
            "the spread of the photos",
        )?;
        within(format_args!("reference.rest"), self.rest, spread, "what is left of their spread")
    }

    /// Score of one of the standards' own photos.
    pub fn score_of_standard(&self, photo: &PatchColours) -> f64 {
        (self.split(photo).0 / self.score_sd).clamp(-MOST_SCORE, MOST_SCORE)
    }

    /// Score of another photo, believed as far as it resembles the standards' photos.
    pub fn score(&self, photo: &PatchColours) -> LampScore {
        let (score, rest) = self.split(photo);
        let trust = 1.0 / (1.0 + (rest / (TRUST_RATIO * self.rest)).powi(2));
        let mean = trust * (score / self.score_sd).clamp(-MOST_SCORE, MOST_SCORE);
        LampScore { mean, sd: SCORE_SD.hypot(1.0 - trust) }
    }

    /// Part of a photo's deviation along the direction, and what is left beside it.
    fn split(&self, photo: &PatchColours) -> (f64, f64) {
        let gap: Vec<f64> =
            deviation(photo, &self.patches).iter().zip(&self.mean).map(|(d, mean)| d - mean).collect();
        let score = dot(gap.iter(), &self.direction);
        let square: f64 = gap.iter().map(|value| value * value).sum();
        (score, (square - score * score).max(0.0).sqrt())
    }
}

fn dot<'a>(a: impl Iterator<Item = &'a f64>, b: &[f64]) -> f64 {
    a.zip(b).map(|(x, y)| x * y).sum()
}

/// Geometric mean of a patch over the photos that show it.
fn mean_patch(photos: &[PatchColours], k: usize) -> Option<Relative> {
    let seen: Vec<Relative> = photos.iter().filter_map(|photo| *photo.relative.get(k)?).collect();
    if seen.is_empty() {
        return None;
    }
    Some(std::array::from_fn(|channel| {
        let sum: f64 = seen.iter().map(|colour| colour[channel].max(1e-4).ln()).sum();
        (sum / seen.len() as f64).exp().max(DARKEST)
    }))
}

/// Weighted logarithmic deviation of each patch and channel from the view; 0 where it is hidden.
fn deviation(photo: &PatchColours, view: &[Relative]) -> Vec<f64> {
    let pairs = photo.relative.iter().zip(view);
    pairs
        .flat_map(|(seen, wanted)| {
            (0..3).map(move |channel| {
                let Some(seen) = seen else { return 0.0 };
                let gap = seen[channel].max(DARKEST).ln() - wanted[channel].ln();
                let weight = (wanted[channel] / (wanted[channel] + HALF_WEIGHT)).sqrt();
                gap.clamp(-MOST_DEVIATION, MOST_DEVIATION) * weight
            })
        })
        .collect()
}
