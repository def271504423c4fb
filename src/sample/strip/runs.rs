//! Pads seen on a strip of unknown form: stretches that stand out from the bare strip.

use std::ops::Range;

use super::trace::{Lab, Lying, distance, median_lab};
use crate::card::layout::PointMm;
use crate::math::stats;

/// A pad differs from the bare strip by at least this, Oklab times 100.
const LEAST_CONTRAST: f64 = 4.0;
/// What differs by less than this from white may be the card's paper, Oklab times 100.
pub(super) const PAPER: f64 = 4.0;
/// Lengths of pads, mm.
const PAD_MM: std::ops::RangeInclusive<f64> = 1.8..=14.0;
/// Half of the millimetre in which a straight edge is crossed, in samples.
const EDGE_STEPS: usize = 2;
/// Share of a pad's height that its edge rises by there: blur spreads it over half a millimetre, while a
/// shadow's edge or a bent strip's shading takes several.
const SHARP_SHARE: f64 = 0.5;

/// One pad seen: centre and length along the axis, mm, and its colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Place of its middle along the axis.
    pub centre: f64,
    /// Its length.
    pub size: f64,
    /// Its colour, were the paper beside it white.
    pub colour: Lab,
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
    let seen = lying.evenly_lit();
    // Most of a strip is bare.
    let Some(bare) = median_lab(seen.iter().flatten().copied()) else { return Vec::new() };
    let height = |(k, lab): (usize, &Option<Lab>)| lab.map_or(0.0, |lab| lying.surely_unlike(k, lab, bare));
    let heights: Vec<f64> = seen.iter().enumerate().map(height).collect();
    let ends = [seen.iter().position(Option::is_some), seen.iter().rposition(Option::is_some)];
    let mut runs = Vec::new();
    let mut k = 0;
    while k < heights.len() {
        let length = heights[k..].iter().take_while(|height| **height >= LEAST_CONTRAST).count();
        if length > 0 {
            let colour = median_lab(seen[k..k + length].iter().flatten().copied());
            // What is white up to the window's end is the card beyond the strip's.
            let is_at_end = ends.contains(&Some(k)) || ends.contains(&Some(k + length - 1));
            let pad = colour.filter(|colour| !(is_at_end && distance(*colour, [100.0, 0.0, 0.0]) < PAPER));
            let run = pad.and_then(|colour| run(lying, &heights, k..k + length, colour, bare));
            runs.extend(run);
        }
        k += length.max(1);
    }
    runs
}

/// The pad of a stretch that stands out from the bare strip; `None` for one that is too short or long, or
/// is shaded only: as if less light fell on it, and with soft edges.
fn run(lying: &Lying, heights: &[f64], stretch: Range<usize>, colour: Lab, bare: Lab) -> Option<Run> {
    let half = stats::median(&heights[stretch.clone()])? / 2.0;
    let rise = stretch.clone().find(|&k| heights[k] >= half)?;
    let fall = stretch.rev().find(|&k| heights[k] >= half)?;
    let height = |k: Option<usize>| k.and_then(|k| heights.get(k)).copied().unwrap_or(0.0);
    let is_sharp = |inside: Option<usize>, outside: Option<usize>| {
        height(inside) - height(outside) >= SHARP_SHARE * 2.0 * half
    };
    let has_straight_edges = is_sharp(Some(rise + EDGE_STEPS), rise.checked_sub(EDGE_STEPS))
        && is_sharp(fall.checked_sub(EDGE_STEPS), Some(fall + EDGE_STEPS));
    if chroma_between(colour, bare) < LEAST_CONTRAST && !has_straight_edges {
        return None;
    }
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
    PAD_MM.contains(&size).then_some(Run { centre: (from + to) / 2.0, size, colour })
}

/// Distance in hue and chroma of colours brought to the second one's lightness, as more light would do.
fn chroma_between(colour: Lab, bare: Lab) -> f64 {
    let gain = bare[0] / colour[0].max(1.0);
    (gain * colour[1] - bare[1]).hypot(gain * colour[2] - bare[2])
}
