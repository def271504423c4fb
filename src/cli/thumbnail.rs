//! The sampled vial of a logged photo, small, and the chart's colours on either side of its reading.
//!
//! Samples are kept in the data folder when their photo is logged: the page then needs neither the photos
//! nor the time to open them. The folder can be deleted at any time; what is missing is cut out anew.

use std::io::Write;
use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;
use image::{ImageFormat, RgbImage, imageops};

use super::Settings;
use super::kits::Kits;
use crate::chart::matching::typical_light;
use crate::log::{PhotoSource, Reading, SampleBox, Source, content_hash};
use crate::photo::{self, Photo};
use crate::report::page::Look;
use crate::report::picture::shown;

/// Folder of the samples in the data folder.
const FOLDER: &str = "samples";
/// Longest side of a sample, pixels.
const SIDE: u32 = 64;
/// JPEG quality, percent.
const QUALITY: u8 = 75;

/// How a reading's sample looked; `None` if it is of no photo, or neither the sample nor the photo is there.
pub fn of(reading: &Reading, settings: &Settings, kits: &Kits) -> Option<Look> {
    let Source::Photo(source) = &reading.source else { return None };
    let sample = source.sample?;
    let jpeg = kept(settings, &source.hash, sample).or_else(|| {
        let jpeg = cut(&opened(source)?, sample)?;
        keep(settings, &source.hash, sample, &jpeg);
        Some(jpeg)
    })?;
    // A picture that does not decode would show as a hole.
    let size = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).ok()?.into_rgb8().dimensions();
    Some(Look { jpeg, size, levels: neighbours(reading, source, kits).unwrap_or_default() })
}

/// Cuts a sample out of its photo.
pub fn cut(photo: &Photo, sample: SampleBox) -> Option<Vec<u8>> {
    let part = photo.part_to_srgb((sample.x, sample.y), sample.width, sample.height);
    let longest = part.width().max(part.height());
    if part.width() == 0 || part.height() == 0 {
        return None;
    }
    let side = |pixels: u32| (pixels * SIDE / longest).max(1);
    jpeg(&imageops::thumbnail(&part, side(part.width()), side(part.height())))
}

/// A small JPEG of a picture.
pub fn jpeg(picture: &RgbImage) -> Option<Vec<u8>> {
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(picture).ok()?;
    Some(jpeg)
}

/// Keeps a sample for the page. The page can do without it, so a failure is none.
pub fn keep(settings: &Settings, hash: &str, sample: SampleBox, jpeg: &[u8]) {
    let Some(file) = file_of(settings, hash, sample) else { return };
    let folder = settings.home.join(FOLDER);
    let write = || -> std::io::Result<()> {
        std::fs::create_dir_all(&folder)?;
        let mut new = tempfile::NamedTempFile::new_in(&folder)?;
        new.write_all(jpeg)?;
        new.persist(file)?;
        Ok(())
    };
    let _ = write();
}

fn kept(settings: &Settings, hash: &str, sample: SampleBox) -> Option<Vec<u8>> {
    std::fs::read(file_of(settings, hash, sample)?).ok()
}

/// The file of a sample; `None` for a hash that could lead elsewhere.
fn file_of(settings: &Settings, hash: &str, sample: SampleBox) -> Option<PathBuf> {
    let is_plain = hash.chars().all(|c| c.is_ascii_alphanumeric() || c == ':');
    let name = format!("{}-{}-{}.jpg", hash.replace(':', "-"), sample.x, sample.y);
    is_plain.then(|| settings.home.join(FOLDER).join(name))
}

/// The photo of a reading, if the file is still the one that was read.
fn opened(source: &PhotoSource) -> Option<Photo> {
    let bytes = photo::read_file(Path::new(&source.photo)).ok()?;
    let is_same = content_hash(&bytes) == source.hash;
    is_same.then(|| photo::from_bytes(&bytes).ok()).flatten()
}

/// The two levels between which the reading lies, with their colours.
fn neighbours(reading: &Reading, source: &PhotoSource, kits: &Kits) -> Option<Vec<(f64, [u8; 3])>> {
    let chart = kits.get(source.chart.as_deref()?).ok()?;
    let path = &chart.scale(reading.measurement.analyte)?.ruler(chart.form)?.path;
    let last = path.levels.len().checked_sub(2)?;
    // Above the chart there is no value: its last two levels are shown.
    let value = reading.measurement.value.unwrap_or(f64::INFINITY);
    let lower = path.levels.iter().rposition(|&level| level <= value).unwrap_or(0).min(last);
    let pair = &path.levels[lower..=lower + 1];
    Some(pair.iter().map(|&level| (level, shown(typical_light(path, level)))).collect())
}
