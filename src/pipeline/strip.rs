//! Reading a strip: every pad against its own scale.

use super::{Compared, Fitted, Refusal, Seen, View, Window, card_evidence, conclude};
use crate::card::layout::PointMm;
use crate::chart::matching::{Asked, match_together};
use crate::chart::{Chart, Match, Scale};
use crate::colour::MixedLight;
use crate::reading::{Evidence, Sighting};
use crate::sample::{PadSample, SampleError, Strip};
use crate::terms::Flag;

/// A pad's mottling is coarse: its mean scatters by this share of its pixels' scatter.
pub const MOTTLING_SHARE: f64 = 0.3;

/// Reads every pad, from the dipped end.
pub(super) fn read(window: &Window, chart: &Chart) -> Vec<Sighting> {
    let view = window.view;
    let Some(form) = &chart.strip else { return Vec::new() };
    let found = window.strip().map_err(Clone::clone).and_then(|lying| Strip::measure(lying, form));
    let Strip { is_reversed, pads } = match found {
        Ok(strip) => strip,
        Err(error) => return refuse_all(view, chart, &error),
    };
    let (fitted, mixed) = (Fitted::new(view, chart), mixed_light(view));
    let compared: Vec<Result<Pad, String>> = chart
        .scales
        .iter()
        .zip(&pads)
        .map(|(scale, pad)| {
            let pad = pad.as_ref().map_err(SampleError::to_string)?;
            let fitted = fitted.as_ref().map_err(Refusal::to_string)?;
            Pad::compare(chart, scale, fitted, pad, &mixed).map_err(|refusal| refusal.to_string())
        })
        .collect();
    let asked: Vec<Asked> = compared.iter().flatten().map(|pad| pad.compared.asked).collect();
    let mut matched = match_together(&asked).into_iter();
    let (mut sightings, mut strange) = (Vec::new(), 0);
    for ((scale, seen), pad) in chart.scales.iter().zip(&pads).zip(compared) {
        let mut evidence = card_evidence(view);
        if let Ok(seen) = seen {
            let corner = |p: &PointMm| view.card.to_photo.apply((p.x, p.y));
            evidence.sample = seen.sample.area.iter().map(corner).collect();
        }
        let outcome = pad.and_then(|pad| {
            let matched = matched.next().ok_or_else(|| SampleError::PadHidden.to_string())?;
            let (outcome, is_strange) = pad.conclude(view, chart, &matched, &mut evidence);
            strange += usize::from(is_strange);
            outcome
        });
        sightings.push(match outcome {
            Ok(sighting) => Sighting { evidence, ..flagged(sighting, is_reversed) },
            Err(why) => Sighting::refused(Some(scale.analyte), Some(chart.name.clone()), why, evidence),
        });
    }
    // Where most pads are of strange colours, the others are what they seem by chance.
    if strange >= 2 && 2 * strange > sightings.len() {
        return refuse_all(view, chart, &SampleError::StrangePads { strange, pads: sightings.len() });
    }
    sightings
}

fn flagged(mut sighting: Sighting, is_reversed: bool) -> Sighting {
    if is_reversed {
        sighting.flags.push(Flag::StripReversed);
        sighting.flags.sort_unstable();
    }
    sighting
}

fn refuse_all(view: &View, chart: &Chart, error: &SampleError) -> Vec<Sighting> {
    let refuse = |scale: &Scale| {
        let name = Some(chart.name.clone());
        Sighting::refused(Some(scale.analyte), name, error.to_string(), card_evidence(view))
    };
    chart.scales.iter().map(refuse).collect()
}

/// A pad before its scale.
struct Pad<'a> {
    seen: Seen<'a>,
    is_bare: bool,
    fitted: &'a Fitted,
    compared: Compared<'a>,
}

impl<'a> Pad<'a> {
    fn compare(
        chart: &'a Chart,
        scale: &'a Scale,
        fitted: &'a Fitted,
        pad: &'a PadSample,
        mixed: &'a MixedLight,
    ) -> Result<Self, Refusal> {
        let unevenness = MOTTLING_SHARE * pad.sample.spread;
        let seen = Seen { sample: &pad.sample, mixed, unevenness };
        let compared = Compared::new(chart, scale, fitted, &seen)?;
        Ok(Self { seen, is_bare: pad.is_bare, fitted, compared })
    }

    /// Its reading, and whether its colour is none of its scale's.
    fn conclude(
        &self,
        view: &View,
        chart: &Chart,
        matched: &Match,
        evidence: &mut Evidence,
    ) -> (Result<Sighting, String>, bool) {
        let read = conclude(view, chart, self.fitted, &self.seen, &self.compared, matched, evidence);
        let is_beside = match &read {
            Ok(sighting) => sighting.flags.contains(&Flag::OffPath),
            Err(refusal) => matches!(refusal, Refusal::OffPath { .. } | Refusal::Veiled { .. }),
        };
        if is_beside && self.is_bare {
            return (Err(SampleError::PadMissing.to_string()), false);
        }
        let is_strange = is_beside && read.is_err();
        (read.map_err(|refusal| refusal.to_string()), is_strange)
    }
}

/// A strip lies in the plane of the card and its colour is taken relative to the paper right beside
/// it: mixed light adds no doubt of its own, but is still worth a flag.
pub(super) fn mixed_light(view: &View) -> MixedLight {
    MixedLight { gain: [0.0; 3], ..MixedLight::new(&view.light, None) }
}
