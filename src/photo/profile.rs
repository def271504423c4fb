//! From a colour space that only tables describe to sRGB.

use image::RgbImage;
use moxcms::{ColorProfile, DataColorSpace, Layout, TransformExecutor, TransformOptions};

/// What the file's pixels were encoded in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColourSpace {
    /// sRGB, said or (without a profile) assumed.
    Srgb,
    /// Another space, such as Display P3: converted by the embedded ICC profile.
    Converted,
    /// The embedded profile could not be used; the pixels were taken as sRGB.
    ProfileUnusable,
}

/// Levels a channel of the probe that tells whether a profile changes anything.
const PROBE_LEVELS: [u8; 6] = [0, 51, 102, 153, 204, 255];
/// Largest change, in 8-bit steps, that is taken as rounding.
const PROBE_TOLERANCE: u8 = 1;

/// Converts the pixels to 8-bit sRGB by an embedded ICC profile of tables.
pub(super) fn to_srgb(pixels: &mut RgbImage, icc: &[u8]) -> ColourSpace {
    let Some(transform) = transform(icc) else { return ColourSpace::ProfileUnusable };
    match changes_colours(&*transform) {
        Some(false) => return ColourSpace::Srgb,
        Some(true) => {}
        None => return ColourSpace::ProfileUnusable,
    }
    let row_bytes = 3 * pixels.width() as usize;
    let mut source = vec![0; row_bytes];
    for row in pixels.chunks_exact_mut(row_bytes.max(3)) {
        source.copy_from_slice(row);
        if transform.transform(&source, row).is_err() {
            return ColourSpace::ProfileUnusable;
        }
    }
    ColourSpace::Converted
}

fn transform(icc: &[u8]) -> Option<std::sync::Arc<dyn TransformExecutor<u8> + Send + Sync>> {
    let source = ColorProfile::new_from_slice(icc).ok()?;
    if source.color_space != DataColorSpace::Rgb {
        return None;
    }
    let options = TransformOptions { prefer_fixed_point: false, ..TransformOptions::default() };
    source.create_transform_8bit(Layout::Rgb, &ColorProfile::new_srgb(), Layout::Rgb, options).ok()
}

/// Whether a transform moves any of a lattice of colours; `None` if it fails.
fn changes_colours(transform: &dyn TransformExecutor<u8>) -> Option<bool> {
    let levels = || PROBE_LEVELS.into_iter();
    let lattice: Vec<u8> =
        levels().flat_map(|r| levels().flat_map(move |g| levels().flat_map(move |b| [r, g, b]))).collect();
    let mut converted = vec![0; lattice.len()];
    transform.transform(&lattice, &mut converted).ok()?;
    Some(lattice.iter().zip(&converted).any(|(a, b)| a.abs_diff(*b) > PROBE_TOLERANCE))
}
