//! What kind of file the bytes are, by their content.

use std::fmt;

use super::PhotoError;

/// The kinds of file that are decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// JPEG (JFIF or EXIF), baseline or progressive.
    Jpeg,
    /// PNG.
    Png,
    /// WebP, lossy or lossless.
    WebP,
    /// HEIC or HEIF; decoded only by builds with the feature `heic`.
    Heic,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::WebP => "WebP",
            Self::Heic => "HEIC",
        })
    }
}

/// Other kinds that a photo folder may hold, by the bytes at their start.
const OTHER_KINDS: [(&[u8], &str); 12] = [
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"II*\0", "a TIFF picture or a camera's raw file"),
    (b"MM\0*", "a TIFF picture or a camera's raw file"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered picture of an image editor"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture"),
    (b"PK\x03\x04", "an archive (ZIP)"),
    (b"\x1a\x45\xdf\xa3", "a video"),
    (b"<svg", "an SVG drawing"),
];

/// Brands of the ISO base media file format that mean a HEIF photo (ISO/IEC 23008-12, annex B).
const HEIC_BRANDS: [&[u8; 4]; 8] = [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"];

/// The kind of file, or why it is none that can be read.
pub(super) fn recognise(bytes: &[u8]) -> Result<Format, PhotoError> {
    match bytes {
        [] => Err(PhotoError::Empty),
        [0xff, 0xd8, 0xff, ..] => Ok(Format::Jpeg),
        _ if bytes.starts_with(b"\x89PNG\r\n\x1a\n") => Ok(Format::Png),
        _ if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") => Ok(Format::WebP),
        _ if bytes.get(4..8) == Some(b"ftyp") => iso_media(bytes),
        _ => Err(other_kind(bytes)),
    }
}

/// The brands of an ISO media file: a HEIF photo, an AVIF picture or a video.
fn iso_media(bytes: &[u8]) -> Result<Format, PhotoError> {
    let size = bytes.get(..4).map_or(0, |b| u32::from_be_bytes([b[0], b[1], b[2], b[3]]) as usize);
    let brands = &bytes[8..size.clamp(8, bytes.len())];
    let has = |wanted: &[u8]| brands.chunks_exact(4).any(|brand| brand == wanted);
    if has(b"avif") || has(b"avis") {
        return Err(PhotoError::OtherKind("an AVIF picture"));
    }
    if HEIC_BRANDS.iter().any(|brand| has(*brand)) {
        return if cfg!(feature = "heic") { Ok(Format::Heic) } else { Err(PhotoError::Heic) };
    }
    Err(PhotoError::OtherKind("a video or another media file"))
}

fn other_kind(bytes: &[u8]) -> PhotoError {
    if let Some((_, name)) = OTHER_KINDS.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return PhotoError::OtherKind(name);
    }
    if bytes.starts_with(b"RIFF") {
        return PhotoError::OtherKind("a sound or video file");
    }
    if looks_like_text(bytes) {
        return PhotoError::OtherKind("a text file");
    }
    PhotoError::NotAPicture
}

fn looks_like_text(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(512)];
    start.iter().all(|&b| b >= b' ' || matches!(b, b'\n' | b'\r' | b'\t'))
}
