//! HEIC photos, decoded by the libheif library in builds with the feature `heic`.
//!
//! The library turns the picture upright itself, so the orientation in the EXIF data is not to be
//! applied again.

use libheif_rs::{ColorPrimaries, ColorSpace, HeifContext, HeifError, ImageHandle, LibHeif, RgbChroma};
use moxcms::ColorProfile;

use super::decode::{Raw, hold_pixel_limit, rgb_image};
use super::{Format, PhotoError};

/// Decodes a HEIC file in full.
pub(super) fn decode(bytes: &[u8]) -> Result<Raw, PhotoError> {
    let context = HeifContext::read_from_bytes(bytes).map_err(|error| refusal(&error))?;
    let handle = context.primary_image_handle().map_err(|error| refusal(&error))?;
    let (width, height) = (handle.width(), handle.height());
    hold_pixel_limit(width.into(), height.into())?;
    let picture = LibHeif::new()
        .decode(&handle, ColorSpace::Rgb(RgbChroma::Rgb), None)
        .map_err(|error| refusal(&error))?;
    let missing = || PhotoError::Damaged { format: Format::Heic, detail: "no pixels".into() };
    let plane = picture.planes().interleaved.ok_or_else(missing)?;
    let row_bytes = 3 * plane.width as usize;
    let rows = plane.data.chunks(plane.stride).take(plane.height as usize);
    let pixels: Vec<u8> = rows.filter_map(|row| row.get(..row_bytes)).flatten().copied().collect();
    let pixels = rgb_image(Format::Heic, plane.width, plane.height, pixels)?;
    Ok(Raw { pixels, part: None, icc: profile(&handle), exif: exif(&handle) })
}

/// The EXIF data of a HEIC file, without its pixels.
pub(super) fn exif_of(bytes: &[u8]) -> Result<Option<Vec<u8>>, PhotoError> {
    let context = HeifContext::read_from_bytes(bytes).map_err(|error| refusal(&error))?;
    let handle = context.primary_image_handle().map_err(|error| refusal(&error))?;
    Ok(exif(&handle))
}

/// The embedded profile; where only the primaries are named and they are those of Display P3, its profile.
fn profile(handle: &ImageHandle) -> Option<Vec<u8>> {
    if let Some(raw) = handle.color_profile_raw() {
        return Some(raw.data);
    }
    let named = handle.color_profile_nclx()?;
    let is_p3 = named.color_primaries() == ColorPrimaries::SMPTE_EG_432_1;
    is_p3.then(|| ColorProfile::new_display_p3().encode().ok()).flatten()
}

/// The EXIF data, behind the four bytes that say where they start.
fn exif(handle: &ImageHandle) -> Option<Vec<u8>> {
    let block = handle.all_metadata().into_iter().find(|block| &block.item_type.0 == b"Exif")?.raw_data;
    let (start, rest) = block.split_first_chunk::<4>()?;
    Some(rest.get(u32::from_be_bytes(*start) as usize..)?.to_vec())
}

fn refusal(error: &HeifError) -> PhotoError {
    PhotoError::Damaged { format: Format::Heic, detail: error.to_string() }
}
