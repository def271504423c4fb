//! The sampled vial of a logged photo, small, and the chart's colours on either side of its reading.

use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::imageops;

use super::{Settings, charts};
use crate::chart::matching::typical_light;
use crate::log::{PhotoSource, Reading, SampleBox, Source, content_hash};
use crate::photo;
use crate::report::page::Look;
use crate::report::picture::shown;

/// Longest side, pixels.
const SIDE: u32 = 64;
/// JPEG quality, percent.
const QUALITY: u8 = 75;

/// How a reading's sample looked; `None` if it is of no photo, or the photo is no longer there.
pub fn of(reading: &Reading, settings: &Settings) -> Option<Look> {
    let Source::Photo(source) = &reading.source else { return None };
    let jpeg = crop(source, source.sample?)?;
    Some(Look { jpeg, levels: neighbours(reading, source, settings).unwrap_or_default() })
}

/// The sample cut out of its photo, if the file is still the one that was read.
fn crop(source: &PhotoSource, sample: SampleBox) -> Option<Vec<u8>> {
    let bytes = photo::read_file(Path::new(&source.photo)).ok()?;
    if content_hash(&bytes) != source.hash {
        return None;
    }
    let picture = photo::from_bytes(&bytes).ok()?.to_srgb();
    let part = imageops::crop_imm(&picture, sample.x, sample.y, sample.width, sample.height).to_image();
    let longest = part.width().max(part.height());
    if part.width() == 0 || part.height() == 0 {
        return None;
    }
    let side = |pixels: u32| (pixels * SIDE / longest).max(1);
    let small = imageops::thumbnail(&part, side(part.width()), side(part.height()));
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(&small).ok()?;
    Some(jpeg)
}

/// The two levels between which the reading lies, with their colours.
fn neighbours(reading: &Reading, source: &PhotoSource, settings: &Settings) -> Option<Vec<(f64, [u8; 3])>> {
    let chart = charts::find(settings, source.chart.as_deref()?).ok()?;
    let path = &chart.scale(reading.measurement.analyte)?.ruler(chart.form)?.path;
    let last = path.levels.len().checked_sub(2)?;
    // Above the chart there is no value: its last two levels are shown.
    let value = reading.measurement.value.unwrap_or(f64::INFINITY);
    let lower = path.levels.iter().rposition(|&level| level <= value).unwrap_or(0).min(last);
    let pair = &path.levels[lower..=lower + 1];
    Some(pair.iter().map(|&level| (level, shown(typical_light(path, level)))).collect())
}
