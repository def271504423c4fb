//! Light of the strip where it is bare: what it tells of a veil on the pads.

use super::super::veil::BareStrip;
use super::form::{Pad, StripForm};
use super::pad::paper_beside;
use super::place::Place;
use super::trace::Lying;
use crate::math::stats;

/// Beside a pad the strip is looked at from here to there from the pad's edge, mm.
const BESIDE_MM: (f64, f64) = (0.3, 1.2);
/// What is looked at is at least so far from every other pad and from the strip's ends, mm: blur.
const FREE_MM: f64 = 0.25;
/// Share of the strip's width over which it is looked at.
const CORE_SHARE: f64 = 0.6;
/// Length of the pieces in which the whole strip is looked at, mm.
const PIECE_MM: f64 = 1.0;

/// Natural logarithm of the light of the bare strip against the paper beside it, median along the strip.
pub fn whole(lying: &Lying, form: &StripForm, place: &Place) -> Option<f64> {
    let pieces = (form.length_mm / PIECE_MM) as usize;
    let lights: Vec<f64> = (0..pieces)
        .map(|k| PIECE_MM * k as f64)
        .map(|from| (from, from + PIECE_MM))
        .filter(|&piece| is_bare(form, piece))
        .filter_map(|piece| light(lying, place, piece))
        .collect();
    stats::median(&lights)
}

/// Light of the bare strip on the sides of a pad where there is some, against that of the whole strip.
pub fn beside(lying: &Lying, form: &StripForm, place: &Place, pad: &Pad, whole: f64) -> Option<BareStrip> {
    let half = pad.size_mm / 2.0;
    let (near, far) = (half + BESIDE_MM.0, half + BESIDE_MM.1);
    let sides = [(pad.centre_mm - far, pad.centre_mm - near), (pad.centre_mm + near, pad.centre_mm + far)];
    let seen = sides.into_iter().filter(|&side| is_bare(form, side));
    let lights: Vec<f64> = seen.filter_map(|side| light(lying, place, side)).collect();
    Some(BareStrip { beside: (stats::mean(&lights)? - whole).exp(), whole: whole.exp() })
}

/// Whether the strip has no pad between two distances from its dipped end.
fn is_bare(form: &StripForm, (from, to): (f64, f64)) -> bool {
    let is_free = |pad: &Pad| {
        let reach = pad.size_mm / 2.0 + FREE_MM;
        to < pad.centre_mm - reach || from > pad.centre_mm + reach
    };
    from > FREE_MM && to < form.length_mm - FREE_MM && form.pads.iter().all(is_free)
}

/// Mean of the channels' logarithms there, against the paper on both sides.
fn light(lying: &Lying, place: &Place, (from, to): (f64, f64)) -> Option<f64> {
    let (a, b) = (place.along(from), place.along(to));
    let side = CORE_SHARE * lying.axis.width / 2.0;
    let mean = |log: [f64; 3]| log.iter().sum::<f64>() / 3.0;
    let cells = lying.area((a.min(b), a.max(b)), (-side, side));
    let paper = paper_beside(lying, (a + b) / 2.0, to - from)?;
    Some(stats::median_of(cells.iter().map(|cell| mean(cell.log)))? - mean(paper))
}
