//! The two facts that are wanted of a photo's EXIF data: which way up, and when.
//!
//! Nothing else is looked at, so nothing of place, owner or device can be kept.

use exif::{Exif, In, Reader, Tag, Value};
use image::metadata::Orientation;

use super::CaptureTime;

/// What the EXIF data say.
pub(super) struct Facts {
    /// How to turn the stored pixels upright.
    pub orientation: Orientation,
    /// When the photo was taken.
    pub captured: CaptureTime,
}

/// Reads the facts; missing or unreadable data give an unturned photo of unknown time.
pub(super) fn read(chunk: Option<Vec<u8>>) -> Facts {
    let parsed = chunk.and_then(parse);
    let Some(exif) = parsed else {
        return Facts { orientation: Orientation::NoTransforms, captured: CaptureTime::Unknown };
    };
    Facts { orientation: orientation(&exif), captured: captured(&exif) }
}

/// Damaged data are read as far as they go: the strict reader loses dates that others find.
fn parse(mut chunk: Vec<u8>) -> Option<Exif> {
    if chunk.starts_with(b"Exif\0\0") {
        // WebP writers often keep the prefix that only JPEG needs.
        chunk.drain(..6);
    }
    let mut reader = Reader::new();
    reader.continue_on_error(true);
    reader.read_raw(chunk).or_else(|error| error.distill_partial_result(|_| ())).ok()
}

fn orientation(exif: &Exif) -> Orientation {
    exif.get_field(Tag::Orientation, In::PRIMARY)
        .and_then(|field| field.value.get_uint(0))
        .and_then(|value| Orientation::from_exif(u8::try_from(value).ok()?))
        .unwrap_or(Orientation::NoTransforms)
}

/// The time of exposure, else that of digitising; never the time of the last change to the file.
fn captured(exif: &Exif) -> CaptureTime {
    let pairs = [
        (Tag::DateTimeOriginal, Tag::OffsetTimeOriginal),
        (Tag::DateTimeDigitized, Tag::OffsetTimeDigitized),
    ];
    pairs
        .into_iter()
        .filter_map(|(time, offset)| Some(CaptureTime::from_exif(ascii(exif, time)?, ascii(exif, offset))))
        .find(|time| *time != CaptureTime::Unknown)
        .unwrap_or(CaptureTime::Unknown)
}

fn ascii(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => lines.first().map(Vec::as_slice),
        _ => None,
    }
}
