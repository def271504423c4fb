//! Which way round a strip of a known form lies, and where its dipped end is.

use super::super::vial::SampleError;
use super::form::{Pad, StripForm};
use super::runs::{PAPER, Run, runs};
use super::trace::{Lab, Lying, STEP_MM, distance, median_lab};
use crate::math::line::Line;
use crate::math::stats;

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
/// What is this much as long as one of the form's pads is taken for a pad.
const PAD_LENGTHS: std::ops::RangeInclusive<f64> = 0.7..=1.4;
/// Pads as far apart as the form says, but for a strip lifted off the card and errors of measuring.
const SPACINGS: std::ops::RangeInclusive<f64> = 0.95..=1.05;
/// Farthest pad from where the form has it, mm.
const MOST_OFF_MM: f64 = 1.2;
/// Pads farther beyond the form's last one than this many of their spacings are print on the handle.
const BEYOND_SPACINGS: f64 = 1.6;
/// Width of what lies there against the form's, beyond which it is another strip, or the card was
/// printed at another scale: the next paper size down or up makes 0.71 and 1.41 of it.
const WIDTHS: std::ops::RangeInclusive<f64> = 0.75..=1.33;

/// How a strip lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Place of the dipped end along the axis, mm.
    pub tip: f64,
    /// Whether the dipped end points downwards.
    pub is_reversed: bool,
    /// Colour of the bare strip, were the paper beside it white.
    pub bare: Lab,
}

impl Place {
    /// Place along the axis of a distance from the dipped end.
    pub fn along(&self, from_tip: f64) -> f64 {
        self.tip + if self.is_reversed { -from_tip } else { from_tip }
    }
}

/// Lays the form on the trace in every way and takes the best.
///
/// # Errors
/// The form does not fit the strip that lies there.
pub fn find(lying: &Lying, form: &StripForm) -> Result<Place, SampleError> {
    let other = SampleError::OtherStrip { pads: form.pads.len() };
    if !WIDTHS.contains(&(lying.axis.width / form.width_mm)) {
        return Err(other);
    }
    let first = lying.start.max(lying.place(first_seen(lying)) - MOST_OUTSIDE_MM);
    let last = lying.place(last_seen(lying)) + MOST_OUTSIDE_MM;
    let count = ((last - first) / STEP_MM).max(0.0) as usize;
    let lit = lying.evenly_lit();
    let mut best: Option<(f64, Place)> = None;
    for is_reversed in [false, true] {
        for k in 0..=count {
            let tip = first + STEP_MM * k as f64;
            let end = if is_reversed { tip - form.length_mm } else { tip + form.length_mm };
            if end < first || end > last {
                continue;
            }
            let Some((score, bare)) = score(lying, &lit, form, tip, is_reversed) else { continue };
            if best.as_ref().is_none_or(|(most, _)| score > *most) {
                best = Some((score, Place { tip, is_reversed, bare }));
            }
        }
    }
    let expected: f64 = form.pads.iter().map(|pad| pad.size_mm - 2.0 * BLUR_MM).sum();
    let place =
        best.filter(|(score, _)| *score >= LEAST_FIT * expected).map(|(_, place)| place).ok_or(other)?;
    check_pads(lying, form, &place)?;
    Ok(place)
}

/// Pads that the form does not have, or has elsewhere, are another strip's: its colours must not be read
/// on this one's scales.
fn check_pads(lying: &Lying, form: &StripForm, place: &Place) -> Result<(), SampleError> {
    let seen: Vec<(f64, &Pad)> = runs(lying)
        .into_iter()
        .filter_map(|run| pad_like(run, form, place))
        .filter(|(from_tip, _)| *from_tip < beyond(form))
        .collect();
    let places: Vec<(f64, f64)> = seen.iter().map(|(from_tip, pad)| (pad.centre_mm, *from_tip)).collect();
    if let Some(&(_, at)) = places.iter().find(|(wanted, at)| (at - wanted).abs() > MOST_OFF_MM) {
        // The form may have been laid past the strip's end: there is the strip's own end then.
        return Err(SampleError::StrangePad { at_mm: at.max(0.0), pads: form.pads.len() });
    }
    match spacing(&places) {
        Some(times) if !SPACINGS.contains(&times) => {
            Err(SampleError::OtherSpacing { percent: 100.0 * times, pads: form.pads.len() })
        }
        _ => Ok(()),
    }
}

/// Place from the dipped end of what is as long as a pad, and the pad of the form that is nearest to it.
fn pad_like<'a>(run: Run, form: &'a StripForm, place: &Place) -> Option<(f64, &'a Pad)> {
    let from_tip = if place.is_reversed { place.tip - run.centre } else { run.centre - place.tip };
    let gap = |pad: &Pad| (pad.centre_mm - from_tip).abs();
    let nearest = form.pads.iter().min_by(|a, b| gap(a).total_cmp(&gap(b)))?;
    let is_paper = from_tip < 0.0 && distance(run.colour, [100.0, 0.0, 0.0]) < PAPER;
    (!is_paper && PAD_LENGTHS.contains(&(run.size / nearest.size_mm))).then_some((from_tip, nearest))
}

/// Distance from the dipped end beyond which nothing is taken for a pad.
fn beyond(form: &StripForm) -> f64 {
    let gaps: Vec<f64> = form.pads.windows(2).map(|pair| pair[1].centre_mm - pair[0].centre_mm).collect();
    let last = form.pads.last().map_or(0.0, |pad| pad.centre_mm);
    last + BEYOND_SPACINGS * stats::median(&gaps).unwrap_or(last)
}

/// How many times as far apart as the form says pads are seen, by least squares; `None` for fewer than
/// three, of which one may be seen in part.
fn spacing(places: &[(f64, f64)]) -> Option<f64> {
    let (wanted, seen): (Vec<f64>, Vec<f64>) = places.iter().copied().unzip();
    Line::fit(&wanted, &seen).ok().map(|line| line.slope)
}

fn first_seen(lying: &Lying) -> usize {
    lying.core.iter().position(Option::is_some).unwrap_or(0)
}

fn last_seen(lying: &Lying) -> usize {
    lying.core.iter().rposition(Option::is_some).unwrap_or(0)
}

/// Millimetres of clear pad where a pad should be, less those where there should be bare strip, and
/// the colour of the bare strip.
fn score(
    lying: &Lying,
    lit: &[Option<Lab>],
    form: &StripForm,
    tip: f64,
    is_reversed: bool,
) -> Option<(f64, Lab)> {
    let from_tip = |s: f64| if is_reversed { tip - s } else { s - tip };
    let seen = || lit.iter().enumerate().filter_map(|(k, lab)| Some((k, from_tip(lying.place(k)), (*lab)?)));
    let off_pads = |d: f64| {
        form.pads.iter().all(|pad| (d - pad.centre_mm).abs() > pad.size_mm / 2.0 + BLUR_MM)
            && d > 2.0 * BLUR_MM
            && d < form.length_mm - 2.0 * BLUR_MM
    };
    let on_pad = |d: f64| form.pads.iter().any(|pad| (d - pad.centre_mm).abs() < pad.size_mm / 2.0 - BLUR_MM);
    let bare = median_lab(seen().filter(|(_, d, _)| off_pads(*d)).map(|(_, _, lab)| lab))?;
    let mut total = 0.0;
    for (k, d, lab) in seen() {
        let clear = (lying.surely_unlike(k, lab, bare) / CLEAR).min(1.0);
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
