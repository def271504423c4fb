//! Reading a strip: every pad against its own scale.

use super::{Fitted, Refusal, Seen, View, card_evidence, measure};
use crate::card::layout::{PointMm, RectMm};
use crate::chart::{Chart, Scale};
use crate::colour::MixedLight;
use crate::reading::Sighting;
use crate::sample::{self, PadSample, SampleError, Strip};
use crate::terms::Flag;

/// A pad's mottling is coarse: its mean scatters by this share of its pixels' scatter.
pub const MOTTLING_SHARE: f64 = 0.3;

/// Reads every pad, from the dipped end.
pub(super) fn read(view: &View, window: RectMm, chart: &Chart) -> Vec<Sighting> {
    let Some(form) = &chart.strip else { return Vec::new() };
    let found = sample::find_strip(&view.photo, &view.card, &view.light, window, form);
    let Strip { is_reversed, pads } = match found {
        Ok(strip) => strip,
        Err(error) => return refuse_all(view, chart, &error),
    };
    let fitted = Fitted::new(view, chart);
    let mut sightings = Vec::new();
    for (scale, pad) in chart.scales.iter().zip(pads) {
        let mut sighting = read_pad(view, chart, scale, fitted.as_ref(), pad);
        if is_reversed && sighting.reason.is_none() {
            sighting.flags.push(Flag::StripReversed);
            sighting.flags.sort_unstable();
        }
        sightings.push(sighting);
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

fn read_pad(
    view: &View,
    chart: &Chart,
    scale: &Scale,
    fitted: Result<&Fitted, &Refusal>,
    pad: Result<PadSample, SampleError>,
) -> Sighting {
    let mut evidence = card_evidence(view);
    let outcome = pad.map_err(|error| error.to_string()).and_then(|pad| {
        let corner = |p: &PointMm| view.card.to_photo.apply((p.x, p.y));
        evidence.sample = pad.sample.area.iter().map(corner).collect();
        let unevenness = MOTTLING_SHARE * pad.sample.spread;
        let seen = Seen { sample: &pad.sample, mixed: &mixed_light(view), unevenness };
        let fitted = fitted.map_err(Refusal::to_string)?;
        match measure(view, chart, scale, fitted, &seen, &mut evidence) {
            Err(Refusal::OffPath { .. }) if pad.is_bare => Err(SampleError::PadMissing.to_string()),
            other => other.map_err(|refusal| refusal.to_string()),
        }
    });
    match outcome {
        Ok(sighting) => Sighting { evidence, ..sighting },
        Err(reason) => Sighting::refused(Some(scale.analyte), Some(chart.name.clone()), reason, evidence),
    }
}

/// A strip lies in the plane of the card and its colour is taken relative to the paper right beside
/// it: mixed light adds no doubt of its own, but is still worth a flag.
pub(super) fn mixed_light(view: &View) -> MixedLight {
    MixedLight { gain: [0.0; 3], ..MixedLight::new(&view.light, None) }
}
