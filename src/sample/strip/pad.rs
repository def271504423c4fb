//! One pad's colour.

use super::super::raster::relative;
use super::super::vial::{Sample, SampleError};
use super::PadSample;
use super::form::Pad;
use super::place::Place;
use super::trace::{BESIDE_MM, Cell, Lab, Lying, distance, lab, median_lab};
use crate::math::stats;
use crate::terms::Flag;

/// Half of the measured part of a pad, as a share of its size: the rest shows bleeding and blur.
const MIDDLE_SHARE: f64 = 0.34;
/// Half of the part in which unevenness is sought.
const BODY_SHARE: f64 = 0.4;
/// Share of the pad's middle that is kept, the nearest to its median: gloss and stains fall out.
const KEPT_SHARE: f64 = 0.7;
/// Share of the pad's middle that must be seen.
const LEAST_SEEN: f64 = 0.9;
/// Share of the middle that may be white-clipped.
const MOST_CLIPPED: f64 = 0.3;
/// Halves of a pad that differ by more than this do not show one pad: it is folded or half covered,
/// Oklab times 100.
const COVERED: f64 = 14.0;
/// Halves that differ by more than this are worth a flag.
const UNEVEN: f64 = 5.0;
/// A pad nearer to the bare strip than this may be none, Oklab times 100: it is called missing only
/// where the chart does not know its colour either.
const BARE: f64 = 4.0;
/// The same for a half of a pad that is folded back: the bare strip itself is to be seen there.
const BARE_HALF: f64 = 2.0;
/// Paper beside the strip is taken over this much more than the pad's length, mm.
const PAPER_MARGIN_MM: f64 = 3.0;

/// Measures one pad.
///
/// # Errors
/// The pad is hidden, in part covered or folded, or a reflection lies on it.
pub fn measure(lying: &Lying, place: &Place, pad: &Pad) -> Result<PadSample, SampleError> {
    let centre = place.along(pad.centre_mm);
    let square = |share: f64| {
        let half = share * pad.size_mm;
        let side = half.min(share * lying.axis.width);
        lying.area((centre - half, centre + half), (-side, side))
    };
    let middle = square(MIDDLE_SHARE);
    let step = super::GRID_MM;
    let expected = (2.0 * MIDDLE_SHARE / step).powi(2) * pad.size_mm * pad.size_mm.min(lying.axis.width);
    if (middle.len() as f64) < LEAST_SEEN * expected {
        return Err(SampleError::PadHidden);
    }
    let clipped = middle.iter().filter(|cell| cell.is_clipped).count();
    if clipped as f64 > MOST_CLIPPED * middle.len() as f64 {
        return Err(SampleError::Glare);
    }
    let paper = paper_beside(lying, centre, pad.size_mm).ok_or(SampleError::PadHidden)?;
    let lit = |log: [f64; 3]| lab(std::array::from_fn(|k| log[k] - paper[k]));
    let halves = halves(&square(BODY_SHARE), centre, lit).ok_or(SampleError::PadHidden)?;
    if is_covered(halves, place.bare) {
        return Err(SampleError::PadCovered);
    }
    let unevenness = distance(halves.0, halves.1);
    let (mean, spread) = robust_mean(&middle).ok_or(SampleError::PadHidden)?;
    let colour = relative(std::array::from_fn(|k| mean[k] - paper[k]));
    let half = pad.size_mm / 2.0;
    let corner = |s: f64, u: f64| lying.axis.point(centre + s * half, u * half);
    let flags = if unevenness > UNEVEN { vec![Flag::UnevenPad] } else { Vec::new() };
    let area = [corner(-1.0, -1.0), corner(-1.0, 1.0), corner(1.0, 1.0), corner(1.0, -1.0)];
    let sample = Sample { colour, spread, beside: None, around: None, area, flags };
    Ok(PadSample { sample, is_bare: distance(lit(mean), place.bare) < BARE })
}

/// Mean logarithm of what lies nearest to the median colour, and its scatter.
fn robust_mean(cells: &[Cell]) -> Option<([f64; 3], f64)> {
    let centre = median_lab(cells.iter().map(|cell| lab(cell.log)))?;
    let mut sorted: Vec<&Cell> = cells.iter().collect();
    sorted.sort_by(|a, b| distance(lab(a.log), centre).total_cmp(&distance(lab(b.log), centre)));
    sorted.truncate(((KEPT_SHARE * cells.len() as f64) as usize).max(1));
    let channel = |k: usize| sorted.iter().map(|cell| cell.log[k]).collect::<Vec<_>>();
    let mean = [stats::mean(&channel(0))?, stats::mean(&channel(1))?, stats::mean(&channel(2))?];
    let scatter: Vec<f64> = (0..3).filter_map(|k| stats::standard_deviation(&channel(k))).collect();
    Some((mean, stats::mean(&scatter).unwrap_or(0.0)))
}

/// The two halves of a pad that differ most, lengthwise or crosswise; `None` if one is not seen.
fn halves(cells: &[Cell], centre: f64, lit: impl Fn([f64; 3]) -> Lab) -> Option<(Lab, Lab)> {
    let split = |is_first: &dyn Fn(&Cell) -> bool| {
        let colour = |first: bool| {
            median_lab(cells.iter().filter(|cell| is_first(cell) == first).map(|cell| lit(cell.log)))
        };
        colour(true).zip(colour(false))
    };
    let (along, across) = (split(&|cell| cell.s < centre)?, split(&|cell| cell.u < 0.0)?);
    let difference = |(a, b): (Lab, Lab)| distance(a, b);
    Some(if difference(along) > difference(across) { along } else { across })
}

/// Whether halves do not show one pad: they differ much, or one shows the bare strip beside a pad.
fn is_covered((a, b): (Lab, Lab), bare: Lab) -> bool {
    let (nearer, farther) =
        (distance(a, bare).min(distance(b, bare)), distance(a, bare).max(distance(b, bare)));
    let difference = distance(a, b);
    difference > COVERED || difference > UNEVEN && nearer < BARE_HALF && farther > BARE
}

/// Logarithm of the light of bare paper on both sides of a pad: it takes off what the light over the
/// whole card misses here.
pub(super) fn paper_beside(lying: &Lying, centre: f64, size: f64) -> Option<[f64; 3]> {
    let half = lying.axis.width / 2.0;
    let reach = size / 2.0 + PAPER_MARGIN_MM;
    let sides = [(-half - BESIDE_MM.1, -half - BESIDE_MM.0), (half + BESIDE_MM.0, half + BESIDE_MM.1)];
    let medians: Vec<[f64; 3]> = sides
        .into_iter()
        .filter_map(|side| {
            let cells = lying.area((centre - reach, centre + reach), side);
            median_lab(cells.iter().map(|cell| cell.log))
        })
        .collect();
    let channel = |k: usize| stats::mean(&medians.iter().map(|log| log[k]).collect::<Vec<_>>());
    Some([channel(0)?, channel(1)?, channel(2)?])
}
