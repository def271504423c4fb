//! The strip's axis: the direction in which the window's colours, summed up, are sharpest.

use super::super::raster::Raster;
use super::trace::{Lab, distance, median_lab};
use crate::card::layout::PointMm;
use crate::math::stats;

/// Steepest tilt against the window, degrees; a little beyond what is promised.
const MOST_TILT: f64 = 22.0;
/// Coarse and fine steps of the tilt, degrees.
const STEPS: [f64; 2] = [1.0, 0.25];
/// Width of the bins across the strip, mm.
const BIN_MM: f64 = 0.25;
/// Bins that hold less than this share of the fullest bin's pixels are left out: window corners.
const LEAST_FILLING: f64 = 0.4;
/// A band that stands out by less than this from the paper is no strip, Oklab times 100.
const LEAST_CONTRAST: f64 = 0.8;
/// Widths of strips, mm, with what blur adds.
const WIDTHS_MM: std::ops::RangeInclusive<f64> = 2.5..=12.0;

/// Where the strip's middle line runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// A point on the axis.
    pub origin: PointMm,
    /// Along it, downwards on the card; unit length.
    pub along: (f64, f64),
    /// Width of the band that stands out, mm.
    pub width: f64,
}

impl Axis {
    /// The point `s` mm along and `u` mm across from the origin.
    pub fn point(&self, s: f64, u: f64) -> PointMm {
        let (dx, dy) = self.along;
        PointMm { x: self.origin.x + s * dx + u * dy, y: self.origin.y + s * dy - u * dx }
    }
}

/// Finds the axis; `None` if nothing long stands out from the paper.
pub fn find(raster: &Raster, labs: &[Option<Lab>]) -> Option<Axis> {
    let paper = median_lab(labs.iter().flatten().copied())?;
    let mut best = (0.0, 0.0_f64);
    for step in STEPS {
        let (centre, reach) = if step == STEPS[0] { (0.0, MOST_TILT) } else { (best.1, STEPS[0]) };
        let count = (reach / step).round() as i32;
        for k in -count..=count {
            let tilt = centre + step * f64::from(k);
            let sharpness = Profile::across(raster, labs, paper, tilt).sharpness();
            if sharpness > best.0 {
                best = (sharpness, tilt);
            }
        }
    }
    let profile = Profile::across(raster, labs, paper, best.1);
    let (left, right) = profile.band()?;
    let (sin, cos) = best.1.to_radians().sin_cos();
    let middle = (left + right) / 2.0;
    let centre = centre(raster);
    let origin = PointMm { x: centre.x + middle * cos, y: centre.y - middle * sin };
    Some(Axis { origin, along: (sin, cos), width: right - left })
}

fn centre(raster: &Raster) -> PointMm {
    PointMm {
        x: raster.x((raster.columns() as f64 - 1.0) / 2.0),
        y: raster.y((raster.rows() as f64 - 1.0) / 2.0),
    }
}

/// Mean colours in bins across a direction.
struct Profile {
    /// Distance of the first bin from the raster's centre, mm.
    start: f64,
    means: Vec<Option<Lab>>,
    /// Mean distance of the pixels from the paper in hue and chroma alone: pads of opposite colours
    /// do not cancel in it, and a shadow beside a lifted strip does not enter.
    chroma: Vec<Option<f64>>,
}

impl Profile {
    fn across(raster: &Raster, labs: &[Option<Lab>], paper: Lab, tilt: f64) -> Self {
        let (sin, cos) = tilt.to_radians().sin_cos();
        let middle = centre(raster);
        let reach = (raster.step() * raster.columns() as f64 / 2.0).hypot(1.0);
        let bins = (2.0 * reach / BIN_MM).ceil() as usize;
        let mut sums = vec![([0.0; 4], 0.0); bins];
        for row in 0..raster.rows() {
            let dy = raster.y(row as f64) - middle.y;
            for column in 0..raster.columns() {
                let u = (raster.x(column as f64) - middle.x) * cos - dy * sin;
                let place = (u + reach) / BIN_MM - 0.5;
                let Some(lab) = labs[row * raster.columns() + column] else { continue };
                if place < 0.0 || place + 1.0 >= bins as f64 {
                    continue;
                }
                // Shared between the two nearest bins, so that grid and bins do not beat.
                for (bin, weight) in
                    [(place as usize, 1.0 - place.fract()), (place as usize + 1, place.fract())]
                {
                    let (sum, total) = &mut sums[bin];
                    (0..3).for_each(|k| sum[k] += weight * lab[k]);
                    sum[3] += weight * (lab[1] - paper[1]).hypot(lab[2] - paper[2]);
                    *total += weight;
                }
            }
        }
        let fullest = sums.iter().map(|(_, total)| *total).fold(0.0, f64::max);
        let mean = |(sum, total): ([f64; 4], f64)| {
            (total > 0.0 && total >= LEAST_FILLING * fullest).then(|| sum.map(|x| x / total))
        };
        let all: Vec<Option<[f64; 4]>> = sums.into_iter().map(mean).collect();
        let means = all.iter().map(|mean| mean.map(|[l, a, b, _]| [l, a, b])).collect();
        Self { start: -reach, means, chroma: all.iter().map(|mean| mean.map(|m| m[3])).collect() }
    }

    fn sharpness(&self) -> f64 {
        let steps = self.means.windows(3).filter_map(|three| Some(distance(three[0]?, three[2]?).powi(2)));
        steps.sum()
    }

    /// Both edges of the band that stands out, at half its height: by its chroma, or by any
    /// difference where all is grey.
    fn band(&self) -> Option<(f64, f64)> {
        let ground = median_lab(self.means.iter().flatten().copied())?;
        let plain = stats::median_of(self.chroma.iter().flatten().copied())?;
        let chroma: Vec<f64> =
            self.chroma.iter().map(|mean| mean.map_or(0.0, |mean| (mean - plain).max(0.0))).collect();
        let all: Vec<f64> =
            self.means.iter().map(|mean| mean.map_or(0.0, |lab| distance(lab, ground))).collect();
        self.edges_of(&chroma).or_else(|| self.edges_of(&all))
    }

    fn edges_of(&self, heights: &[f64]) -> Option<(f64, f64)> {
        let peak = (0..heights.len()).max_by(|&a, &b| heights[a].total_cmp(&heights[b]))?;
        if heights[peak] < LEAST_CONTRAST {
            return None;
        }
        let high: Vec<f64> = heights.iter().copied().filter(|h| *h > heights[peak] / 2.0).collect();
        let half = stats::median(&high)? / 2.0;
        let left = (0..=peak).rev().find(|&k| heights[k] < half)?;
        let right = (peak..heights.len()).find(|&k| heights[k] < half)?;
        let crossing = |low: usize, high: usize| {
            let share = (half - heights[low]) / (heights[high] - heights[low]);
            let at = |k: usize| self.start + BIN_MM * (k as f64 + 0.5);
            at(low) + share * (at(high) - at(low))
        };
        let edges = (crossing(left, left + 1), crossing(right, right - 1));
        WIDTHS_MM.contains(&(edges.1 - edges.0)).then_some(edges)
    }
}
