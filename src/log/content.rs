//! What makes a photo the same photo.
//!
//! The hash is SHA-256 over the *compressed picture data* and nothing else: renaming the file and
//! rewriting, adding or stripping its metadata (capture time, place, orientation, profile, comments,
//! previews) leave it alone; editing or compressing anew makes another photo of it.
//!
//! | format | hashed |
//! | --- | --- |
//! | JPEG | all segments up to the end of the image but the application and comment segments |
//! | PNG | the chunks IHDR, PLTE, tRNS and IDAT |
//! | WebP | the chunks VP8, VP8L and ALPH |
//! | anything else, or damaged | the whole file |

use sha2::{Digest, Sha256};

/// The content hash of a photo file: `scan:` or, where the format is not known, `file:` and 64 hex digits.
pub fn content_hash(file: &[u8]) -> String {
    match picture_data(file) {
        Some(pieces) => {
            let mut hash = Sha256::new();
            pieces.iter().for_each(|piece| hash.update(piece));
            format!("scan:{}", hex(&hash.finalize()))
        }
        None => format!("file:{}", hex(&Sha256::digest(file))),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        for digit in [byte >> 4, byte & 15] {
            text.push(char::from_digit(u32::from(digit), 16).unwrap_or('?'));
        }
        text
    })
}

fn picture_data(file: &[u8]) -> Option<Vec<&[u8]>> {
    match file {
        [0xff, 0xd8, rest @ ..] => jpeg(rest),
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', rest @ ..] => png(rest),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', rest @ ..] => webp(rest),
        _ => None,
    }
}

/// Segments of ITU-T T.81, annex B: a marker, a length that counts itself, contents.
fn jpeg(mut rest: &[u8]) -> Option<Vec<&[u8]>> {
    let mut pieces = Vec::new();
    loop {
        let &[0xff, marker, ref after @ ..] = rest else { return None };
        match marker {
            // Fill bytes may stand before a marker.
            0xff => rest = &rest[1..],
            0xd9 => return Some(pieces),
            0xe0..=0xef | 0xfe => rest = after.get(segment_length(after)?..)?,
            0xda => {
                let end = scan_end(after)?;
                pieces.push(&rest[..2 + end]);
                rest = &after[end..];
            }
            0x01 | 0xd0..=0xd7 => rest = after,
            _ => {
                let length = segment_length(after)?;
                pieces.push(rest.get(..2 + length)?);
                rest = &after[length..];
            }
        }
    }
}

fn segment_length(after_marker: &[u8]) -> Option<usize> {
    let &[high, low, ..] = after_marker else { return None };
    Some(usize::from(u16::from_be_bytes([high, low])))
}

/// Where the entropy-coded data ends: at a marker that is neither a stuffed byte nor a restart.
fn scan_end(scan: &[u8]) -> Option<usize> {
    let mut at = segment_length(scan)?;
    loop {
        at += scan.get(at..)?.iter().position(|&byte| byte == 0xff)?;
        match scan.get(at + 1)? {
            0x00 | 0xd0..=0xd7 => at += 2,
            0xff => at += 1,
            _ => return Some(at),
        }
    }
}

/// Chunks of ISO/IEC 15948: length, type, data, check sum.
fn png(mut rest: &[u8]) -> Option<Vec<&[u8]>> {
    let mut pieces = Vec::new();
    loop {
        let &[a, b, c, d, ref after @ ..] = rest else { return None };
        let length = usize::try_from(u32::from_be_bytes([a, b, c, d])).ok()?;
        let chunk = after.get(..length.checked_add(4)?)?;
        match &chunk[..4] {
            b"IEND" => return Some(pieces),
            b"IHDR" | b"PLTE" | b"tRNS" | b"IDAT" => pieces.push(chunk),
            _ => {}
        }
        rest = after.get(length.checked_add(8)?..)?;
    }
}

/// Chunks of RFC 9649: type, length, data, padded to an even length.
fn webp(mut rest: &[u8]) -> Option<Vec<&[u8]>> {
    let mut pieces = Vec::new();
    while let [_, _, _, _, a, b, c, d, after @ ..] = rest {
        let length = usize::try_from(u32::from_le_bytes([*a, *b, *c, *d])).ok()?;
        let data = after.get(..length)?;
        if matches!(&rest[..4], b"VP8 " | b"VP8L" | b"ALPH") {
            pieces.push(data);
        }
        rest = after.get(length.checked_add(length % 2)?..).unwrap_or_default();
    }
    (!pieces.is_empty()).then_some(pieces)
}
