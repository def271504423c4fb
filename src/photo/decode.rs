//! From bytes to pixels as stored, with the file's colour profile and EXIF data beside them.

use std::io::Cursor;

use image::codecs::png::PngDecoder;
use image::codecs::webp::WebPDecoder;
use image::error::{ImageError, LimitErrorKind};
use image::{DynamicImage, ImageDecoder, Limits, RgbImage};

use super::preview::Choose;
use super::upright::Part;
use super::{Format, MAX_PIXELS, PhotoError, jpeg};

/// Most memory that a decoder may take for one picture, bytes: the largest picture at 16 bits and four channels.
const MAX_DECODER_BYTES: u64 = MAX_PIXELS * 8;

/// A decoded file, not yet upright and not yet sRGB.
pub(super) struct Raw {
    /// Pixels as stored.
    pub pixels: RgbImage,
    /// What of the whole picture they are, if not all.
    pub part: Option<Part>,
    /// Embedded ICC profile.
    pub icc: Option<Vec<u8>>,
    /// EXIF data from the TIFF header on.
    pub exif: Option<Vec<u8>>,
}

/// Decodes a file of a known format; of a JPEG perhaps only what `choose` finds in its preview.
pub(super) fn decode(format: Format, bytes: &[u8], choose: &mut Choose) -> Result<Raw, PhotoError> {
    match format {
        Format::Jpeg => jpeg::decode(bytes, choose),
        Format::Png => png(bytes),
        Format::WebP => webp(bytes),
        #[cfg(feature = "heic")]
        Format::Heic => super::heic::decode(bytes),
        #[cfg(not(feature = "heic"))]
        Format::Heic => Err(PhotoError::Heic),
    }
}

/// The EXIF data of a file of a known format, without its pixels.
pub(super) fn exif(format: Format, bytes: &[u8]) -> Result<Option<Vec<u8>>, PhotoError> {
    match format {
        Format::Jpeg => return jpeg::exif(bytes),
        Format::Png => PngDecoder::new(Cursor::new(bytes)).and_then(|mut decoder| decoder.exif_metadata()),
        Format::WebP => WebPDecoder::new(Cursor::new(bytes)).and_then(|mut decoder| decoder.exif_metadata()),
        #[cfg(feature = "heic")]
        Format::Heic => return super::heic::exif_of(bytes),
        #[cfg(not(feature = "heic"))]
        Format::Heic => return Err(PhotoError::Heic),
    }
    .map_err(|error| refusal(format, error))
}

fn png(bytes: &[u8]) -> Result<Raw, PhotoError> {
    let decoder = PngDecoder::new(Cursor::new(bytes)).map_err(|e| refusal(Format::Png, e))?;
    if decoder.is_apng().map_err(|e| refusal(Format::Png, e))? {
        return Err(PhotoError::Animated(Format::Png));
    }
    finish(Format::Png, decoder)
}

fn webp(bytes: &[u8]) -> Result<Raw, PhotoError> {
    let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(|e| refusal(Format::WebP, e))?;
    if decoder.has_animation() {
        return Err(PhotoError::Animated(Format::WebP));
    }
    finish(Format::WebP, decoder)
}

fn finish(format: Format, mut decoder: impl ImageDecoder) -> Result<Raw, PhotoError> {
    let (width, height) = decoder.dimensions();
    hold_pixel_limit(width.into(), height.into())?;
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    decoder.set_limits(limits).map_err(|e| refusal(format, e))?;
    let icc = decoder.icc_profile().map_err(|e| refusal(format, e))?;
    let exif = decoder.exif_metadata().map_err(|e| refusal(format, e))?;
    let pixels = DynamicImage::from_decoder(decoder).map_err(|e| refusal(format, e))?.into_rgb8();
    Ok(Raw { pixels, part: None, icc, exif })
}

/// Refuses a size that would cost too much memory.
pub(super) fn hold_pixel_limit(width: u64, height: u64) -> Result<(), PhotoError> {
    if width.saturating_mul(height) > MAX_PIXELS {
        return Err(PhotoError::TooManyPixels { width, height });
    }
    Ok(())
}

/// Pixels of a known size as a picture.
pub(super) fn rgb_image(
    format: Format,
    width: u32,
    height: u32,
    pixels: Vec<u8>,
) -> Result<RgbImage, PhotoError> {
    RgbImage::from_raw(width, height, pixels)
        .ok_or_else(|| PhotoError::Damaged { format, detail: "fewer pixels than announced".into() })
}

/// The decoder's error in this stage's words.
fn refusal(format: Format, error: ImageError) -> PhotoError {
    match error {
        ImageError::Limits(limit) if limit.kind() == LimitErrorKind::InsufficientMemory => {
            PhotoError::Unsupported { format, detail: "too much memory would be needed".into() }
        }
        ImageError::Unsupported(what) => PhotoError::Unsupported { format, detail: what.to_string() },
        other if stops_early(&other) => PhotoError::Truncated(format),
        other => PhotoError::Damaged { format, detail: other.to_string() },
    }
}

/// Whether some cause of the error is that the bytes ran out.
fn stops_early(error: &ImageError) -> bool {
    let mut cause: Option<&dyn std::error::Error> = Some(error);
    while let Some(current) = cause {
        let io = current.downcast_ref::<std::io::Error>();
        if io.is_some_and(|io| io.kind() == std::io::ErrorKind::UnexpectedEof) {
            return true;
        }
        cause = current.source();
    }
    false
}
