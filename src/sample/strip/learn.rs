//! A strip's form from photos of such strips.

use super::form::{Pad, StripForm};
use super::runs::{Run, runs};
use super::trace::{Lying, STEP_MM};
use crate::math::stats;
use crate::terms::Analyte;

/// The ends are sought at least this far from the outermost pads' edges, mm: pads' own edges are not
/// the strip's.
const CLEAR_OF_PADS_MM: f64 = 1.2;
/// Farthest end from the pads that is sought, mm.
const MOST_HANDLE_MM: f64 = 100.0;
/// An end's line across the strip, on the mean of all photos, Oklab times 100.
const LEAST_END: f64 = 0.8;

/// Why no form can be learnt.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearnError {
    /// No photo shows as many pads as the table names.
    #[error(
        "the table names {expected} analytes for a strip, but the photos show {found} pads: list one row for each pad of a photo, from the dipped end, and photograph at least one strip on which every pad has taken colour"
    )]
    PadCount {
        /// Rows for a photo.
        expected: usize,
        /// Pads seen, photo by photo.
        found: String,
    },
    /// The ends cannot be seen.
    #[error(
        "the ends of the strip cannot be told from the paper: lay it whole into the window and photograph it from nearer"
    )]
    NoEnds,
}

/// Learns the form from traces of strips whose pads hold `analytes` from the dipped end. The dipped
/// end is the one nearer to the pads.
///
/// # Errors
/// The pads do not fit the analytes, or the strip's ends cannot be seen.
pub fn learn(traces: &[&Lying], analytes: &[Analyte]) -> Result<StripForm, LearnError> {
    let seen: Vec<(&Lying, Vec<Run>)> = traces.iter().map(|lying| (*lying, runs(lying))).collect();
    let whole: Vec<&(&Lying, Vec<Run>)> =
        seen.iter().filter(|(_, runs)| runs.len() == analytes.len()).collect();
    if whole.is_empty() {
        let found = seen.iter().map(|(_, runs)| runs.len().to_string()).collect::<Vec<_>>().join(", ");
        return Err(LearnError::PadCount { expected: analytes.len(), found });
    }
    let turned: Vec<Turned> = whole.iter().map(|(lying, runs)| Turned::new(lying, runs)).collect();
    let median =
        |pick: &dyn Fn(&Turned) -> f64| stats::median_of(turned.iter().map(pick)).unwrap_or(f64::NAN);
    let offsets: Vec<f64> = (0..analytes.len()).map(|k| median(&|t| t.pads[k].centre)).collect();
    let sizes: Vec<f64> = (0..analytes.len()).map(|k| median(&|t| t.pads[k].size)).collect();
    let last = analytes.len() - 1;
    let (before, after) = (-sizes[0] / 2.0, offsets[last] + sizes[last] / 2.0);
    let tip = end(&turned, before, -1.0).ok_or(LearnError::NoEnds)?;
    let handle = end(&turned, after, 1.0).ok_or(LearnError::NoEnds)?;
    let pads = (0..analytes.len())
        .map(|k| Pad {
            analyte: analytes[k],
            unit: Some(analytes[k].default_unit()),
            centre_mm: rounded(offsets[k] - tip),
            size_mm: rounded(sizes[k]),
        })
        .collect();
    let width_mm = rounded(median(&|t| t.lying.axis.width));
    Ok(StripForm { length_mm: rounded(handle - tip), width_mm, pads })
}

/// Tenths of a millimetre: finer than anybody measures a strip.
fn rounded(mm: f64) -> f64 {
    (mm * 10.0).round() / 10.0
}

/// A trace seen from the dipped end, with the first pad's centre at zero.
struct Turned<'a> {
    lying: &'a Lying,
    pads: Vec<Run>,
    first: f64,
    sign: f64,
}

impl<'a> Turned<'a> {
    fn new(lying: &'a Lying, runs: &[Run]) -> Self {
        let seen = |k: Option<usize>| lying.place(k.unwrap_or(0));
        let top = seen(lying.core.iter().position(Option::is_some));
        let bottom = seen(lying.core.iter().rposition(Option::is_some));
        let mut pads = runs.to_vec();
        let (first, last) = (pads[0].centre, pads[pads.len() - 1].centre);
        let is_reversed = bottom - last < first - top;
        if is_reversed {
            pads.reverse();
        }
        let (first, sign) = (pads[0].centre, if is_reversed { -1.0 } else { 1.0 });
        pads.iter_mut().for_each(|run| run.centre = sign * (run.centre - first));
        Self { lying, pads, first, sign }
    }

    /// Strength of the edge at a distance from the first pad's centre; `None` outside the window.
    fn edge(&self, from_first: f64) -> Option<f64> {
        let k = (self.first + self.sign * from_first - self.lying.start) / STEP_MM;
        if k < 2.0 || k + 2.5 >= self.lying.core.len() as f64 {
            return None;
        }
        let k = k.round() as usize;
        (self.lying.core[k - 2].is_some() && self.lying.core[k + 2].is_some()).then(|| self.lying.edge(k))
    }
}

/// The strongest line across the strip beyond a pad's edge, on the mean of all photos.
fn end(turned: &[Turned], from: f64, direction: f64) -> Option<f64> {
    let count = (MOST_HANDLE_MM / STEP_MM) as usize;
    let first = (CLEAR_OF_PADS_MM / STEP_MM) as usize;
    (first..count)
        .filter_map(|k| {
            let place = from + direction * STEP_MM * k as f64;
            let edges: Vec<f64> = turned.iter().filter_map(|t| t.edge(place)).collect();
            (edges.len() * 2 > turned.len()).then_some((place, stats::mean(&edges)?))
        })
        .filter(|(_, strength)| *strength >= LEAST_END)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(place, _)| place)
}
