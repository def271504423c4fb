//! Which way round a strip of a known form lies, and where its dipped end is.

use super::super::vial::SampleError;
use super::form::StripForm;
use super::trace::{Lab, Lying, STEP_MM, distance, median_lab};

/// Difference from the bare strip beyond which a pad counts as fully seen, Oklab times 100.
const CLEAR: f64 = 8.0;
/// The same for the strip's thin ends.
const CLEAR_END: f64 = 2.5;
/// Length of a pad by which one clear end counts, mm.
const END_WEIGHT_MM: f64 = 3.0;
/// Kept from pad edges, where blur mixes colours, mm.
const BLUR_MM: f64 = 0.5;
/// Part of the strip that may lie outside the window, mm.
const MOST_OUTSIDE_MM: f64 = 6.0;
/// Share of what a strip of the form would show at best, below which it is another strip.
const LEAST_FIT: f64 = 0.3;

/// How a strip lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Place of the dipped end along the axis, mm.
    pub tip: f64,
    /// Whether the dipped end points downwards.
    pub is_reversed: bool,
    /// Colour of the bare strip.
    pub bare: Lab,
}

impl Place {
    /// Place along the axis of a distance from the dipped end.
    pub fn along(&self, from_tip: f64) -> f64 {
        self.tip + if self.is_reversed { -from_tip } else { from_tip }
    }
}

/// Lays the form on the trace in every way and takes the best.
pub fn find(lying: &Lying, form: &StripForm) -> Result<Place, SampleError> {
    let first = lying.start.max(lying.place(first_seen(lying)) - MOST_OUTSIDE_MM);
    let last = lying.place(last_seen(lying)) + MOST_OUTSIDE_MM;
    let count = ((last - first) / STEP_MM).max(0.0) as usize;
    let mut best: Option<(f64, Place)> = None;
    for is_reversed in [false, true] {
        for k in 0..=count {
            let tip = first + STEP_MM * k as f64;
            let end = if is_reversed { tip - form.length_mm } else { tip + form.length_mm };
            if end < first || end > last {
                continue;
            }
            let Some((score, bare)) = score(lying, form, tip, is_reversed) else { continue };
            if best.as_ref().is_none_or(|(most, _)| score > *most) {
                best = Some((score, Place { tip, is_reversed, bare }));
            }
        }
    }
    let expected: f64 = form.pads.iter().map(|pad| pad.size_mm - 2.0 * BLUR_MM).sum();
    best.filter(|(score, _)| *score >= LEAST_FIT * expected)
        .map(|(_, place)| place)
        .ok_or(SampleError::OtherStrip { pads: form.pads.len() })
}

fn first_seen(lying: &Lying) -> usize {
    lying.core.iter().position(Option::is_some).unwrap_or(0)
}

fn last_seen(lying: &Lying) -> usize {
    lying.core.iter().rposition(Option::is_some).unwrap_or(0)
}

/// Millimetres of clear pad where a pad should be, less those where there should be bare strip, and
/// the colour of the bare strip.
fn score(lying: &Lying, form: &StripForm, tip: f64, is_reversed: bool) -> Option<(f64, Lab)> {
    let from_tip = |s: f64| if is_reversed { tip - s } else { s - tip };
    let seen =
        || lying.core.iter().enumerate().filter_map(|(k, lab)| Some((from_tip(lying.place(k)), (*lab)?)));
    let off_pads = |d: f64| {
        form.pads.iter().all(|pad| (d - pad.centre_mm).abs() > pad.size_mm / 2.0 + BLUR_MM)
            && d > 2.0 * BLUR_MM
            && d < form.length_mm - 2.0 * BLUR_MM
    };
    let on_pad = |d: f64| form.pads.iter().any(|pad| (d - pad.centre_mm).abs() < pad.size_mm / 2.0 - BLUR_MM);
    let bare: Vec<Lab> = seen().filter(|(d, _)| off_pads(*d)).map(|(_, lab)| lab).collect();
    let bare = median_lab(bare.into_iter())?;
    let mut total = 0.0;
    for (d, lab) in seen() {
        let clear = (distance(lab, bare) / CLEAR).min(1.0);
        if on_pad(d) {
            total += STEP_MM * clear;
        } else if off_pads(d) {
            total -= STEP_MM * clear;
        }
    }
    let end = |d: f64| {
        let k = ((tip + if is_reversed { -d } else { d }) - lying.start) / STEP_MM;
        (k >= 0.0 && k.round() < lying.core.len() as f64).then(|| lying.edge(k.round() as usize))
    };
    let ends = [0.0, form.length_mm].into_iter().filter_map(end);
    total += ends.map(|edge| END_WEIGHT_MM * (edge / CLEAR_END).min(1.0)).sum::<f64>();
    Some((total, bare))
}
