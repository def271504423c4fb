//! From a photo file to upright pixels, their meaning as light, and the time of capture.
//!
//! Comes in: the bytes of a JPEG, PNG or WebP file, told by content and not by name. Goes out: a
//! [`Photo`]. A file that is cut off, empty, too large, undecodable or of another kind is refused, never
//! decoded by halves; limits are held before memory is spent. Of the EXIF data only orientation and
//! capture time are read: nothing of place, owner or device is kept.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use image::RgbImage;
use image::metadata::Orientation;

mod capture;
mod decode;
mod encoding;
mod error;
mod format;
#[cfg(feature = "heic")]
mod heic;
mod jpeg;
mod metadata;
mod preview;
mod profile;
mod upright;

pub use capture::CaptureTime;
pub use encoding::Encoding;
pub use error::PhotoError;
pub use format::Format;
pub use preview::Preview;
pub use profile::ColourSpace;
pub use upright::Upright;
use upright::stored_place;

/// Largest file that is read, bytes. A 50-megapixel JPEG has 10 to 30 MB; a PNG of that size at most 160 MB.
pub const MAX_FILE_BYTES: u64 = 192 << 20;

/// Most pixels that are decoded: above what phones save (50 megapixels), below what lying headers claim.
pub const MAX_PIXELS: u64 = 64_000_000;

/// An upright photo.
#[derive(Clone)]
pub struct Photo {
    /// Upright pixels, 8 bits a channel, in the file's own encoding.
    pub pixels: Upright,
    /// What those values mean as light.
    pub encoding: Encoding,
    /// When it was taken, as far as the file says.
    pub captured: CaptureTime,
    /// The kind of file.
    pub format: Format,
    /// What the file's own pixels were encoded in.
    pub colour_space: ColourSpace,
    /// Whether it holds no colour at all (a grey file, or a black-and-white mode of the phone).
    pub is_monochrome: bool,
}

impl fmt::Debug for Photo {
    /// Millions of pixels are of no use in a message: their number is.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Photo")
            .field("pixels", &self.pixels.dimensions())
            .field("captured", &self.captured)
            .field("format", &self.format)
            .field("colour_space", &self.colour_space)
            .field("is_monochrome", &self.is_monochrome)
            .finish()
    }
}

impl Photo {
    /// Linear light of a pixel in sRGB primaries, 0 to 1; see [`Encoding::linear`].
    #[inline]
    pub fn linear(&self, x: u32, y: u32) -> [f64; 3] {
        self.encoding.linear(self.pixels.code(x, y))
    }

    /// The picture in sRGB, for looking at; only what was decoded of it.
    pub fn to_srgb(&self) -> RgbImage {
        self.for_looking(self.pixels.to_image())
    }

    /// A part of the picture in sRGB; what would lie outside is left out, what was not decoded black.
    pub fn part_to_srgb(&self, (left, top): (u32, u32), width: u32, height: u32) -> RgbImage {
        let width = width.min(self.pixels.width().saturating_sub(left));
        let height = height.min(self.pixels.height().saturating_sub(top));
        let code = |x, y| image::Rgb(self.pixels.get(left + x, top + y).unwrap_or_default());
        self.for_looking(RgbImage::from_fn(width, height, code))
    }

    fn for_looking(&self, mut picture: RgbImage) -> RgbImage {
        if self.colour_space == ColourSpace::Converted {
            picture.pixels_mut().for_each(|pixel| pixel.0 = self.encoding.srgb_code(pixel.0));
        }
        picture
    }
}

/// Opens and decodes a photo file.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file and how to mend it.
pub fn open(path: &Path) -> Result<Photo, PhotoError> {
    from_bytes(&read_file(path)?)
}

/// Decodes a photo from the bytes of its file.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file and how to mend it.
pub fn from_bytes(bytes: &[u8]) -> Result<Photo, PhotoError> {
    part_from_bytes(bytes, |_| None)
}

/// Decodes the convex part of a photo that `choose` finds in its preview, corners in pixels of the
/// upright photo. The pixels there are those of a full decode to the bit. All of the photo is decoded
/// where there is no preview (only ordinary JPEG files have one), nothing is chosen, or it would save
/// nothing. Either way the file's data are checked as a whole.
///
/// # Errors
/// [`PhotoError`] says what is wrong with the file and how to mend it.
pub fn part_from_bytes(
    bytes: &[u8],
    choose: impl FnOnce(&Preview) -> Option<Vec<(f64, f64)>>,
) -> Result<Photo, PhotoError> {
    hold_byte_limit(bytes.len() as u64)?;
    let format = format::recognise(bytes)?;
    let mut choose = Some(choose);
    let mut choose_stored = |preview: Preview, exif: Option<&[u8]>| {
        let orientation = metadata::read(exif.map(<[u8]>::to_vec)).orientation;
        let size = preview.size;
        let corners = (choose.take()?)(&preview.upright(orientation))?;
        Some(corners.into_iter().map(|place| stored_place(place, size, orientation)).collect())
    };
    let mut raw = decode::decode(format, bytes, &mut choose_stored)?;
    let facts = metadata::read(raw.exif.take());
    let (encoding, colour_space) = Encoding::of(raw.icc.as_deref(), &mut raw.pixels);
    // The HEIC library has turned the picture already, and the EXIF data still say how.
    let orientation = if format == Format::Heic { Orientation::NoTransforms } else { facts.orientation };
    let is_monochrome = is_monochrome(&raw.pixels);
    let pixels = Upright::of_part(raw.pixels, raw.part, orientation);
    Ok(Photo { is_monochrome, pixels, encoding, captured: facts.captured, format, colour_space })
}

/// When a photo was taken, as far as its file says, without decoding its pixels.
///
/// # Errors
/// The file is of no kind that is read; see [`PhotoError`].
pub fn capture_time(bytes: &[u8]) -> Result<CaptureTime, PhotoError> {
    let format = format::recognise(bytes)?;
    Ok(metadata::read(decode::exif(format, bytes)?).captured)
}

/// The bytes of a file, refused before they are read if there are too many.
///
/// # Errors
/// The file cannot be read, or is larger than [`MAX_FILE_BYTES`].
pub fn read_file(path: &Path) -> Result<Vec<u8>, PhotoError> {
    let file = File::open(path).map_err(PhotoError::Unreadable)?;
    let meta = file.metadata().map_err(PhotoError::Unreadable)?;
    if meta.is_dir() {
        return Err(PhotoError::Folder);
    }
    hold_byte_limit(meta.len())?;
    let mut bytes = Vec::new();
    // A pipe or a growing file tells no length beforehand.
    file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(PhotoError::Unreadable)?;
    Ok(bytes)
}

fn hold_byte_limit(bytes: u64) -> Result<(), PhotoError> {
    if bytes > MAX_FILE_BYTES { Err(PhotoError::TooManyBytes { bytes }) } else { Ok(()) }
}

/// Largest difference between a pixel's channels that still counts as grey: JPEG rounding of zero chroma.
const GREY_SPREAD: u8 = 3;
/// Share of pixels that must be grey for the photo to count as black-and-white.
const GREY_SHARE: f64 = 0.995;

/// At least this many pixels tell whether a photo holds colour, where it has them.
const GREY_SAMPLE: usize = 100_000;

/// Whether nearly all pixels have equal channels; pixels at even distances are looked at.
fn is_monochrome(pixels: &RgbImage) -> bool {
    let (mut seen, mut grey) = (0_u32, 0_u32);
    // An odd distance, lest the same columns be met in every row.
    let distance = (pixels.len() / 3 / GREY_SAMPLE).max(12) | 1;
    for pixel in pixels.as_raw().chunks_exact(3).step_by(distance) {
        let (r, g, b) = (pixel[0], pixel[1], pixel[2]);
        seen += 1;
        grey += u32::from(r.max(g).max(b) - r.min(g).min(b) <= GREY_SPREAD);
    }
    seen > 0 && f64::from(grey) >= GREY_SHARE * f64::from(seen)
}

#[cfg(test)]
mod tests;
