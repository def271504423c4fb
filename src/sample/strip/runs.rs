//! Pads seen on a strip of unknown form: stretches that stand out from the bare strip.

use super::trace::{Lying, distance};
use crate::card::layout::PointMm;
use crate::math::stats;

/// A pad differs from the bare strip by at least this, Oklab times 100.
const LEAST_CONTRAST: f64 = 4.0;
/// Lengths of pads, mm.
const PAD_MM: std::ops::RangeInclusive<f64> = 1.8..=14.0;

/// One pad seen: centre and length along the axis, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Place of its middle along the axis.
    pub centre: f64,
    /// Its length.
    pub size: f64,
}

/// Outlines of the pads seen, from the top of the window.
pub fn outlines(lying: &Lying) -> Vec<[PointMm; 4]> {
    let side = lying.axis.width / 2.0;
    let outline = |run: Run| {
        let half = run.size / 2.0;
        [(-half, -side), (-half, side), (half, side), (half, -side)]
            .map(|(s, u)| lying.axis.point(run.centre + s, u))
    };
    runs(lying).into_iter().map(outline).collect()
}

/// Stretches that stand out from the bare strip like pads, ends at half their height, from the top.
pub fn runs(lying: &Lying) -> Vec<Run> {
    let Some(bare) = lying.bare() else { return Vec::new() };
    let heights: Vec<f64> = lying.core.iter().map(|lab| lab.map_or(0.0, |lab| distance(lab, bare))).collect();
    let mut runs = Vec::new();
    let mut k = 0;
    while k < heights.len() {
        let length = heights[k..].iter().take_while(|height| **height >= LEAST_CONTRAST).count();
        if length > 0 {
            runs.extend(run(lying, &heights, k, k + length));
        }
        k += length.max(1);
    }
    runs
}

fn run(lying: &Lying, heights: &[f64], start: usize, end: usize) -> Option<Run> {
    let half = stats::median(&heights[start..end])? / 2.0;
    let rise = (start..end).find(|&k| heights[k] >= half)?;
    let fall = (start..end).rev().find(|&k| heights[k] >= half)?;
    // Between the sample that is above half height and its neighbour that is below.
    let crossing = |above: usize, below: Option<usize>| {
        let below = below.and_then(|k| Some((k, *heights.get(k)?))).filter(|(_, height)| *height < half);
        let at = lying.place(above);
        below.map_or(at, |(k, low)| {
            at + (heights[above] - half) / (heights[above] - low) * (lying.place(k) - at)
        })
    };
    let (from, to) = (crossing(rise, rise.checked_sub(1)), crossing(fall, Some(fall + 1)));
    let size = to - from;
    PAD_MM.contains(&size).then_some(Run { centre: (from + to) / 2.0, size })
}
