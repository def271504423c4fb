//! Reading a strip: every pad against its own scale.

use super::{Fitted, Refusal, Seen, View, Window, card_evidence, measure};
use crate::card::layout::PointMm;
use crate::chart::{Chart, Scale};
use crate::colour::MixedLight;
use crate::reading::Sighting;
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
    let fitted = Fitted::new(view, chart);
    let (mut sightings, mut strange) = (Vec::new(), 0);
    for (scale, pad) in chart.scales.iter().zip(pads) {
        let (mut sighting, is_strange) = read_pad(view, chart, scale, fitted.as_ref(), pad);
        strange += usize::from(is_strange);
        if is_reversed && sighting.reason.is_none() {
            sighting.flags.push(Flag::StripReversed);
            sighting.flags.sort_unstable();
        }
        sightings.push(sighting);
    }
    // Where most pads are of strange colours, the others are what they seem by chance.
    if strange >= 2 && 2 * strange > sightings.len() {
        return refuse_all(view, chart, &SampleError::StrangePads { strange, pads: sightings.len() });
    }
    sightings
}

fn refuse_all(view: &View, chart: &Chart, error: &SampleError) -> Vec<Sighting> {
    let refuse = |scale: &Scale| {
        let name = Some(chart.name.clone());
        Sighting::refused(Some(scale.analyte), name, error.to_string(), card_evidence(view))
    };
    chart.scales.iter().map(refuse).collect()
}

/// A pad's reading, and whether its colour is none of its scale's.
fn read_pad(
    view: &View,
    chart: &Chart,
    scale: &Scale,
    fitted: Result<&Fitted, &Refusal>,
    pad: Result<PadSample, SampleError>,
) -> (Sighting, bool) {
    let mut evidence = card_evidence(view);
    let mut is_strange = false;
    let outcome = pad.map_err(|error| error.to_string()).and_then(|pad| {
        let corner = |p: &PointMm| view.card.to_photo.apply((p.x, p.y));
        evidence.sample = pad.sample.area.iter().map(corner).collect();
        let unevenness = MOTTLING_SHARE * pad.sample.spread;
        let seen = Seen { sample: &pad.sample, mixed: &mixed_light(view), unevenness };
        let fitted = fitted.map_err(Refusal::to_string)?;
        let measured = measure(view, chart, scale, fitted, &seen, &mut evidence);
        let is_beside = match &measured {
            Ok(sighting) => sighting.flags.contains(&Flag::OffPath),
            Err(refusal) => matches!(refusal, Refusal::OffPath { .. } | Refusal::Veiled { .. }),
        };
        if is_beside && pad.is_bare {
            return Err(SampleError::PadMissing.to_string());
        }
        is_strange = is_beside && measured.is_err();
        measured.map_err(|refusal| refusal.to_string())
    });
    let sighting = match outcome {
        Ok(sighting) => Sighting { evidence, ..sighting },
        Err(reason) => Sighting::refused(Some(scale.analyte), Some(chart.name.clone()), reason, evidence),
    };
    (sighting, is_strange)
}

/// A strip lies in the plane of the card and its colour is taken relative to the paper right beside
/// it: mixed light adds no doubt of its own, but is still worth a flag.
pub(super) fn mixed_light(view: &View) -> MixedLight {
    MixedLight { gain: [0.0; 3], ..MixedLight::new(&view.light, None) }
}
