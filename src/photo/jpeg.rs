//! JPEG, decoded whole or not at all.
//!
//! Lenient decoding fills what is missing of a cut-off file with grey, which would be measured as if
//! it were paper. So the file must reach its end marker and decode in strict mode; and since decoders
//! go on behind a hole or a turned bit with whatever the bits then mean, the picture data are walked
//! through once more and must come out even ([`scan`]). What still passes and lifts the brightness from
//! one block on is told by its seam ([`seam`]).
//!
//! On that way the blocks' means come out, a picture at an eighth of the size ([`Preview`]). Whoever
//! finds in it all that is wanted has only the blocks under it decoded ([`crop`]): to the same pixels.

mod area;
mod bits;
mod crop;
mod frame;
mod progressive;
mod scan;
mod seam;
mod sequential;

use image::RgbImage;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;

use super::decode::{Raw, hold_pixel_limit, rgb_image};
use super::preview::{Choose, Preview};
use super::upright::Part;
use super::{Format, PhotoError};
use area::Area;
use frame::Frame;

/// What is wrong with the picture data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
enum Fault {
    #[error("the picture data end before the last block")]
    EndsEarly,
    #[error("picture data are left over behind the last block")]
    GoesOn,
    #[error("the picture data hold a code that stands for nothing")]
    NoCode,
    #[error("the picture data hold a brightness that cannot be")]
    Impossible,
    #[error("parts of the picture data are missing or in the wrong order")]
    Restart,
    #[error("the brightness jumps from one block on")]
    Seam,
    #[error("the headers contradict each other")]
    Header,
}

/// Decodes a JPEG file: all of it, or the convex part that `choose` finds in its preview, corners in
/// pixels as stored.
pub(super) fn decode(bytes: &[u8], choose: &mut Choose) -> Result<Raw, PhotoError> {
    let mut decoder = decoder(bytes);
    decoder.decode_headers().map_err(|error| refusal(bytes, error))?;
    let (width, height) = decoder.dimensions().ok_or(PhotoError::Truncated(Format::Jpeg))?;
    hold_pixel_limit(width as u64, height as u64)?;
    if !reaches_end(bytes) {
        return Err(PhotoError::Truncated(Format::Jpeg));
    }
    if let Some(ColorSpace::CMYK | ColorSpace::YCCK) = decoder.input_colorspace() {
        return Err(PhotoError::Unsupported { format: Format::Jpeg, detail: "printing inks, CMYK".into() });
    }
    let (icc, exif) = (decoder.icc_profile(), decoder.exif().cloned());
    let damaged = |fault: Fault| PhotoError::Damaged { format: Format::Jpeg, detail: fault.to_string() };
    let frame = scan::walk(bytes).map_err(damaged)?;
    if seam::has_seam(&frame) {
        return Err(damaged(Fault::Seam));
    }
    let preview = Preview::of(&frame);
    let chosen = preview.and_then(|preview| choose(preview, exif.as_deref()));
    if let Some((pixels, part)) = chosen.and_then(|corners| part(bytes, &frame, &corners)) {
        return Ok(Raw { pixels, part: Some(part), icc, exif });
    }
    let pixels = decoder.decode().map_err(|error| refusal(bytes, error))?;
    Ok(Raw { pixels: to_image(width, height, pixels)?, part: None, icc, exif })
}

fn decoder(bytes: &[u8]) -> JpegDecoder<ZCursor<&[u8]>> {
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::MAX)
        .set_max_height(usize::MAX)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    JpegDecoder::new_with_options(ZCursor::new(bytes), options)
}

/// Above this share of all units decoding them apart saves nothing.
const MOST_SHARE: f64 = 0.85;

/// The pixels of a convex part; `None` where decoding it apart is not possible or saves nothing.
fn part(bytes: &[u8], frame: &Frame, corners: &[(f64, f64)]) -> Option<(RgbImage, Part)> {
    let unit = frame.unit_pixels();
    let area = Area::under(corners, unit, frame.units)?;
    if area.count() as f64 > MOST_SHARE * (frame.units.0 * frame.units.1) as f64 {
        return None;
    }
    let file = crop::crop(bytes, frame, &area)?;
    let mut decoder = decoder(&file);
    let pixels = decoder.decode().ok()?;
    let (width, height) = decoder.dimensions()?;
    Some((to_image(width, height, pixels).ok()?, area.part(unit, frame.size)))
}

/// The EXIF data, without the pixels.
pub(super) fn exif(bytes: &[u8]) -> Result<Option<Vec<u8>>, PhotoError> {
    let mut decoder = JpegDecoder::new(ZCursor::new(bytes));
    decoder.decode_headers().map_err(|error| refusal(bytes, error))?;
    Ok(decoder.exif().cloned())
}

impl Preview {
    /// From the means of the brightness; `None` where it is not stored at full size.
    fn of(frame: &Frame) -> Option<Self> {
        let brightness = frame.components.first()?;
        let (across, along) = brightness.unit;
        if (8 * across, 8 * along) != frame.unit_pixels() {
            return None;
        }
        let (width, height) = (frame.size.0 / 8, frame.size.1 / 8);
        let step = frame.mean_step(brightness) as i32;
        let value = |&mean: &i16| ((i32::from(mean) * step + 4) / 8 + 128).clamp(0, 255) as u8;
        let line = |row: usize| brightness.means[row * brightness.stride..][..width].iter().map(value);
        let values = (0..height).flat_map(line).collect();
        let size = (frame.size.0 as u32, frame.size.1 as u32);
        Some(Self { width, height, values, first: (3.5, 3.5), size })
    }
}

fn to_image(width: usize, height: usize, pixels: Vec<u8>) -> Result<RgbImage, PhotoError> {
    let side = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
    rgb_image(Format::Jpeg, side(width), side(height), pixels)
}

fn refusal(bytes: &[u8], error: DecodeErrors) -> PhotoError {
    match error {
        DecodeErrors::Unsupported(what) => {
            PhotoError::Unsupported { format: Format::Jpeg, detail: format!("{what:?}") }
        }
        _ if !reaches_end(bytes) => PhotoError::Truncated(Format::Jpeg),
        other => PhotoError::Damaged { format: Format::Jpeg, detail: other.to_string() },
    }
}

const END_OF_IMAGE: u8 = 0xd9;

/// Whether the segments of the file (ITU-T T.81, annex B) can be followed to the end-of-image marker.
///
/// Pictures within segments (thumbnails) have end markers of their own, which do not count; bytes
/// after the end (second pictures, short films) do not matter.
fn reaches_end(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        let Some(marker) = next_marker(bytes, &mut at) else { return false };
        match marker {
            END_OF_IMAGE => return true,
            // Markers without a length: TEM, RST0 to RST7, SOI.
            0x01 | 0xd0..=0xd8 => {}
            _ => {
                let Some(&[high, low]) = bytes.get(at..at + 2) else { return false };
                at += usize::from(u16::from_be_bytes([high, low]));
            }
        }
    }
}

/// The next marker at or after `at`, which is left behind it; stuffed FF 00 and fill bytes are passed over.
fn next_marker(bytes: &[u8], at: &mut usize) -> Option<u8> {
    loop {
        *at += memchr::memchr(0xff, bytes.get(*at..)?)?;
        while *bytes.get(*at)? == 0xff {
            *at += 1;
        }
        let marker = bytes[*at];
        *at += 1;
        if marker != 0 {
            return Some(marker);
        }
    }
}
