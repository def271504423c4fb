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
        at += memchr::memchr(0xff, scan.get(at..)?)?;
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

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageFormat, RgbImage};
    use proptest::prelude::*;

    /// A small picture, compressed by the library that reads photos too.
    fn picture(format: ImageFormat, shade: u8) -> Vec<u8> {
        let pixels = RgbImage::from_fn(24, 16, |x, y| image::Rgb([shade, (x * 10) as u8, (y * 15) as u8]));
        let mut file = std::io::Cursor::new(Vec::new());
        pixels.write_to(&mut file, format).unwrap();
        file.into_inner()
    }

    /// An application segment with a large previews' worth of other markers in it, after the file's start.
    fn jpeg_with_segment(file: &[u8], marker: u8, contents: &[u8]) -> Vec<u8> {
        let length = u16::try_from(contents.len() + 2).unwrap().to_be_bytes();
        [&file[..2], &[0xff, marker], &length, contents, &file[2..]].concat()
    }

    fn png_with_chunk(file: &[u8], kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
        let length = u32::try_from(data.len()).unwrap().to_be_bytes();
        // Right after the header chunk, which ends at byte 33; the check sum is not looked at.
        [&file[..33], &length, kind, data, &[0; 4], &file[33..]].concat()
    }

    fn webp_with_chunk(file: &[u8], kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
        let length = u32::try_from(data.len()).unwrap().to_le_bytes();
        let padding = &[0][..data.len() % 2];
        [file, kind, &length, data, padding].concat()
    }

    #[test]
    fn metadata_leave_a_photo_the_same_and_pixels_make_another() {
        let preview = picture(ImageFormat::Jpeg, 9);
        let jpeg = picture(ImageFormat::Jpeg, 1);
        let png = picture(ImageFormat::Png, 1);
        let webp = picture(ImageFormat::WebP, 1);
        let same = [
            (&jpeg, jpeg_with_segment(&jpeg, 0xe1, &preview)),
            (&jpeg, jpeg_with_segment(&jpeg, 0xfe, b"a comment")),
            (&jpeg, [&jpeg[..], b"a trailer, as of a moving picture"].concat()),
            (&png, png_with_chunk(&png, b"eXIf", &preview)),
            (&png, png_with_chunk(&png, b"tEXt", b"a comment")),
            (&webp, webp_with_chunk(&webp, b"EXIF", b"odd")),
        ];
        for (before, after) in &same {
            assert_ne!(before, &after);
            assert_eq!(content_hash(before), content_hash(after));
            assert!(content_hash(before).starts_with("scan:"));
        }
        for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            assert_ne!(content_hash(&picture(format, 1)), content_hash(&picture(format, 2)));
        }
    }

    /// FIPS 180-4: the digest of the empty message and of "abc".
    #[test]
    fn an_unknown_file_is_hashed_whole() {
        assert_eq!(
            content_hash(b""),
            "file:e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
        );
        assert_eq!(
            content_hash(b"abc"),
            "file:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_file_cut_off_is_hashed_whole() {
        let jpeg = picture(ImageFormat::Jpeg, 1);
        assert!(content_hash(&jpeg[..jpeg.len() - 3]).starts_with("file:"));
    }

    proptest! {
        #[test]
        fn no_file_makes_the_hash_panic(
            tail in proptest::collection::vec(any::<u8>(), 0..200),
            head in 0..4_usize,
        ) {
            let heads: [&[u8]; 4] = [b"", b"\xff\xd8", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP"];
            let _ = content_hash(&[heads[head], &tail].concat());
        }
    }
}
