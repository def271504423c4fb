//! JPEG, decoded whole or not at all.
//!
//! Lenient decoding fills what is missing of a cut-off file with grey, which would be measured as if
//! it were paper. So the file must reach its end marker and decode in strict mode; and since decoders
//! go on behind a hole or a turned bit with whatever the bits then mean, the picture data are walked
//! through once more and must come out even ([`scan`]). What still passes and lifts the brightness from
//! one block on is told by its seam ([`seam`]).

mod bits;
mod frame;
mod scan;
mod seam;

use image::RgbImage;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;

use super::decode::{Raw, hold_pixel_limit, rgb_image};
use super::{Format, PhotoError};

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

/// Decodes a JPEG file in full.
pub(super) fn decode(bytes: &[u8]) -> Result<Raw, PhotoError> {
    let options =
        DecoderOptions::default().set_strict_mode(true).set_max_width(usize::MAX).set_max_height(usize::MAX);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|error| refusal(bytes, error))?;
    let (width, height) = decoder.dimensions().ok_or(PhotoError::Truncated(Format::Jpeg))?;
    hold_pixel_limit(width as u64, height as u64)?;
    if !reaches_end(bytes) {
        return Err(PhotoError::Truncated(Format::Jpeg));
    }
    match decoder.input_colorspace() {
        Some(ColorSpace::CMYK | ColorSpace::YCCK) => {
            return Err(PhotoError::Unsupported {
                format: Format::Jpeg,
                detail: "printing inks, CMYK".into(),
            });
        }
        _ => decoder.set_options(options.jpeg_set_out_colorspace(ColorSpace::RGB)),
    }
    let (icc, exif) = (decoder.icc_profile(), decoder.exif().cloned());
    let (pixels, walked) = rayon::join(|| decoder.decode(), || scan::check(bytes));
    let pixels = pixels.map_err(|error| refusal(bytes, error))?;
    let damaged = |fault: Fault| PhotoError::Damaged { format: Format::Jpeg, detail: fault.to_string() };
    let unit = walked.map_err(damaged)?;
    let pixels = to_image(width, height, pixels)?;
    if seam::has_seam(&pixels, unit) {
        return Err(damaged(Fault::Seam));
    }
    Ok(Raw { pixels, icc, exif })
}

/// The EXIF data, without the pixels.
pub(super) fn exif(bytes: &[u8]) -> Result<Option<Vec<u8>>, PhotoError> {
    let mut decoder = JpegDecoder::new(ZCursor::new(bytes));
    decoder.decode_headers().map_err(|error| refusal(bytes, error))?;
    Ok(decoder.exif().cloned())
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
