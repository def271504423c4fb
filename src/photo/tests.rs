use std::path::PathBuf;

use chrono::{DateTime, NaiveDateTime};
use image::{ImageEncoder, Rgb};

use super::*;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/photo").join(name)
}

fn bytes_of(name: &str) -> Vec<u8> {
    std::fs::read(fixture(name)).unwrap()
}

fn table(csv: &str) -> Vec<csv::StringRecord> {
    csv::Reader::from_reader(csv.as_bytes()).records().map(Result::unwrap).collect()
}

/// The six cells (16 px each, levels 40 to 240) of an orientation fixture, row by row, as digits.
fn cells(photo: &Photo) -> String {
    let (columns, rows) = (photo.pixels.width() / 16, photo.pixels.height() / 16);
    let digit = |column, row| photo.pixels.code(16 * column + 8, 16 * row + 8)[0].saturating_add(20) / 40;
    let line = |row| (0..columns).map(|column| digit(column, row).to_string()).collect::<Vec<_>>().join(" ");
    (0..rows).map(line).collect::<Vec<_>>().join("/")
}

fn instant(text: &str) -> CaptureTime {
    CaptureTime::Instant(DateTime::parse_from_rfc3339(text).unwrap())
}

/// CIPA DC-008, tag 0x0112: positions of row 0 and column 0; the upright results are Pillow's.
#[test]
fn all_eight_orientations_of_the_exif_standard_come_out_upright() {
    let rows = table(include_str!("../../fixtures/check/exif_orientation.csv"));
    assert_eq!(rows.len(), 8);
    for row in &rows {
        let photo = open(&fixture(&format!("orientation_{}.jpg", &row[0]))).unwrap();
        assert_eq!(cells(&photo), &row[2], "orientation {}", &row[0]);
    }
}

#[test]
fn png_and_webp_files_are_turned_upright_too() {
    let png = open(&fixture("turned.png")).unwrap();
    assert_eq!((png.format, cells(&png).as_str()), (Format::Png, "3 6/2 5/1 4"));
    let webp = open(&fixture("turned.webp")).unwrap();
    assert_eq!((webp.format, cells(&webp).as_str()), (Format::WebP, "4 1/5 2/6 3"));
}

/// Conversions to UTC computed with Python's datetime.
#[test]
fn a_capture_time_with_an_offset_is_an_instant() {
    let captured = |name: &str| open(&fixture(name)).unwrap().captured;
    assert_eq!(captured("orientation_1.jpg"), instant("2024-03-10T13:05:09Z"));
    assert_eq!(captured("progressive.jpg"), instant("2025-01-01T05:00:00Z"));
    assert_eq!(captured("turned.webp"), instant("2023-12-31T15:15:00Z"));
}

#[test]
fn a_capture_time_without_an_offset_stays_a_local_clock_time() {
    let clock = NaiveDateTime::parse_from_str("2024-01-01 00:15:00", "%Y-%m-%d %H:%M:%S").unwrap();
    assert_eq!(open(&fixture("turned.png")).unwrap().captured, CaptureTime::LocalClock(clock));
}

#[test]
fn a_blank_or_zero_date_is_unknown() {
    assert_eq!(open(&fixture("blank_date.jpg")).unwrap().captured, CaptureTime::Unknown);
    assert_eq!(open(&fixture("zero_date.jpg")).unwrap().captured, CaptureTime::Unknown);
}

#[test]
fn implausible_dates_are_unknown_and_implausible_offsets_leave_the_clock_time() {
    let read = |time: &[u8], offset: &[u8]| CaptureTime::from_exif(time, Some(offset));
    for text in [&b"1980:01:01 00:00:00"[..], b"2024:02:30 10:00:00", b"2024:13:01 10:00:00", b"yesterday"] {
        assert_eq!(read(text, b"+00:00"), CaptureTime::Unknown, "{}", String::from_utf8_lossy(text));
    }
    for offset in [&b"+99:00"[..], b"", b"   :  ", b"CET"] {
        assert!(matches!(read(b"2024:03:10 14:05:09", offset), CaptureTime::LocalClock(_)));
    }
}

/// Expected values: Little CMS 2.19 (through Pillow 13), relative colorimetric; it and we round on the
/// way, so that a channel may differ by one step, or by two where the sRGB curve is steepest.
#[test]
fn a_wide_gamut_file_is_converted_as_little_cms_converts_it() {
    let photo = open(&fixture("wide_gamut_32_colours.png")).unwrap();
    assert_eq!(photo.colour_space, ColourSpace::Converted);
    let rows = table(include_str!("../../fixtures/check/display_p3_to_srgb.csv"));
    assert_eq!(rows.len(), 32);
    for (row, pixel) in rows.iter().zip(photo.to_srgb().pixels()) {
        for (channel, &got) in pixel.0.iter().enumerate() {
            let expected: u8 = row[3 + channel].parse().unwrap();
            let tolerance = if expected < 30 { 2 } else { 1 };
            assert!(got.abs_diff(expected) <= tolerance, "{row:?}: {pixel:?}");
        }
    }
}

#[test]
fn an_embedded_srgb_profile_changes_no_pixel() {
    let photo = open(&fixture("srgb_profile_32_colours.png")).unwrap();
    assert_eq!(photo.colour_space, ColourSpace::Srgb);
    for (row, pixel) in table(include_str!("../../fixtures/check/display_p3_to_srgb.csv"))
        .iter()
        .zip(photo.pixels.stored().pixels())
    {
        assert_eq!((0..3).map(|i| row[i].parse::<u8>().unwrap()).collect::<Vec<_>>(), pixel.0.to_vec());
    }
}

#[test]
fn a_damaged_profile_is_told_of() {
    let mut pixels = RgbImage::from_pixel(4, 4, Rgb([200, 100, 50]));
    assert_eq!(profile::to_srgb(&mut pixels, b"not a profile"), ColourSpace::ProfileUnusable);
    assert_eq!(pixels.get_pixel(0, 0).0, [200, 100, 50]);
}

#[test]
fn a_file_cut_off_anywhere_in_its_picture_is_refused() {
    for name in ["orientation_1.jpg", "progressive.jpg", "turned.png", "turned.webp"] {
        let whole = bytes_of(name);
        assert!(from_bytes(&whole).is_ok(), "{name}");
        // The closing chunk of a PNG holds no picture.
        let needed = whole.len() - if name.ends_with(".png") { 12 } else { 0 };
        for length in 1..needed {
            assert!(from_bytes(&whole[..length]).is_err(), "{name} cut to {length} of {} bytes", whole.len());
        }
    }
}

#[test]
fn a_jpeg_cut_off_after_a_third_is_called_cut_off() {
    for name in ["orientation_1.jpg", "progressive.jpg"] {
        let whole = bytes_of(name);
        let error = from_bytes(&whole[..whole.len() / 3]).unwrap_err();
        assert!(matches!(error, PhotoError::Truncated(Format::Jpeg)), "{name}: {error}");
    }
}

#[test]
fn bytes_after_the_end_of_a_jpeg_do_not_matter() {
    let mut bytes = bytes_of("orientation_1.jpg");
    bytes.extend_from_slice(b"a short film that the phone put behind the picture");
    assert_eq!(cells(&from_bytes(&bytes).unwrap()), "1 2 3/4 5 6");
}

/// A segment that holds a whole small JPEG, as a thumbnail does, with an end marker of its own.
#[test]
fn the_end_of_a_thumbnail_is_not_taken_for_the_end_of_the_photo() {
    let (photo, thumbnail) = (bytes_of("progressive.jpg"), bytes_of("orientation_1.jpg"));
    let length = u16::try_from(2 + 6 + thumbnail.len()).unwrap().to_be_bytes();
    let segment = [&[0xff, 0xe1][..], &length, b"Exif\0\0", &thumbnail].concat();
    let with_thumbnail = [&photo[..2], &segment, &photo[2..]].concat();
    assert!(from_bytes(&with_thumbnail).is_ok());
    let cut = &with_thumbnail[..2 + segment.len() + photo.len() / 3];
    assert!(matches!(from_bytes(cut), Err(PhotoError::Truncated(Format::Jpeg))));
}

#[test]
fn deep_grey_and_transparent_pngs_are_decoded() {
    let encode = |picture: image::DynamicImage| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        from_bytes(bytes.get_ref()).unwrap()
    };
    let deep = encode(image::ImageBuffer::from_pixel(4, 4, image::Rgb([0x8080_u16, 0x4040, 0xffff])).into());
    assert_eq!(deep.pixels.code(1, 1), [0x80, 0x40, 0xff]);
    let grey = encode(image::ImageBuffer::from_pixel(4, 4, image::Luma([77_u8])).into());
    assert_eq!((grey.pixels.code(0, 0), grey.is_monochrome), ([77; 3], true));
    let clear = encode(image::ImageBuffer::from_pixel(4, 4, image::Rgba([10_u8, 200, 30, 255])).into());
    assert_eq!((clear.pixels.code(3, 3), clear.is_monochrome), ([10, 200, 30], false));
}

/// As an interrupted copy leaves a file whose length was set beforehand.
#[test]
fn a_jpeg_whose_tail_is_zeros_is_refused() {
    for name in ["orientation_1.jpg", "progressive.jpg"] {
        let mut bytes = bytes_of(name);
        let tail = bytes.len() * 9 / 10;
        bytes[tail..].fill(0);
        let error = from_bytes(&bytes).unwrap_err();
        assert!(matches!(error, PhotoError::Truncated(Format::Jpeg)), "{name}: {error}");
    }
}

#[test]
fn files_that_are_no_photo_are_named_for_what_they_are() {
    let cases: [(&[u8], &str); 9] = [
        (b"", "empty (0 bytes)"),
        (b"Dear diary, today the water is cloudy.\n", "a text file"),
        (b"GIF89a....", "a GIF picture"),
        (b"%PDF-1.7", "a PDF document"),
        (b"II*\0....", "raw file"),
        (b"\0\0\0\x14ftypavif\0\0\0\0avif", "an AVIF picture"),
        (b"\0\0\0\x14ftypisom\0\0\0\0mp41", "a video"),
        (b"RIFF\0\0\0\0WAVEfmt ", "a sound or video file"),
        (b"\0\x01\x02\x03\x04", "no picture that is known here"),
    ];
    for (bytes, words) in cases {
        let message = from_bytes(bytes).unwrap_err().to_string();
        assert!(message.contains(words), "{message}");
    }
}

/// The library and the EXIF data both know how to turn this file; it must be turned once.
#[cfg(feature = "heic")]
#[test]
fn a_heic_file_is_turned_upright_once_and_keeps_its_profile_and_time() {
    let photo = open(&fixture("turned.heic")).unwrap();
    assert_eq!((photo.format, cells(&photo).as_str()), (Format::Heic, "4 1/5 2/6 3"));
    assert_eq!(photo.captured, instant("2024-03-10T13:05:09Z"));
    assert_eq!(photo.colour_space, ColourSpace::Converted);
}

#[cfg(not(feature = "heic"))]
#[test]
fn a_heic_file_is_refused_with_both_ways_out() {
    let message = open(&fixture("turned.heic")).unwrap_err().to_string();
    assert!(message.contains("save JPEG") && message.contains("--features heic"), "{message}");
}

#[test]
fn animations_and_printing_inks_are_refused_by_name() {
    assert!(matches!(open(&fixture("two_frames.webp")), Err(PhotoError::Animated(Format::WebP))));
    assert!(matches!(open(&fixture("two_frames.png")), Err(PhotoError::Animated(Format::Png))));
    let inks = open(&fixture("printing_inks.jpg")).unwrap_err();
    assert!(matches!(&inks, PhotoError::Unsupported { format: Format::Jpeg, .. }), "{inks}");
}

#[test]
fn folders_and_missing_files_are_refused_with_the_mend() {
    assert!(matches!(open(&fixture("")), Err(PhotoError::Folder)));
    let missing = open(&fixture("no such file.jpg")).unwrap_err().to_string();
    assert!(missing.contains("check its path"), "{missing}");
}

#[test]
fn a_header_that_claims_too_many_pixels_is_refused_before_decoding() {
    let mut png = bytes_of("turned.png");
    png[16..24].copy_from_slice(&[0, 1, 0, 0, 0, 1, 0, 0]);
    // The checksum of the changed header, over its type and content.
    let crc = crc32(&png[12..29]);
    png[29..33].copy_from_slice(&crc.to_be_bytes());
    assert!(matches!(from_bytes(&png), Err(PhotoError::TooManyPixels { width: 65536, height: 65536 })));

    let mut jpeg = bytes_of("orientation_1.jpg");
    let frame = jpeg.windows(2).position(|pair| pair == [0xff, 0xc0]).unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xff, 0xff, 0xff, 0xff]);
    assert!(matches!(from_bytes(&jpeg), Err(PhotoError::TooManyPixels { width: 65535, height: 65535 })));
}

/// CRC-32 of the PNG standard (ISO/IEC 15948, annex D), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}

#[test]
fn fifty_megapixels_are_accepted() {
    let (width, height) = (8192_u32, 6144_u32);
    let mut encoded = Vec::new();
    let flat = vec![180_u8; (width * height) as usize];
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut encoded, 50);
    encoder.write_image(&flat, width, height, image::ExtendedColorType::L8).unwrap();
    let photo = from_bytes(&encoded).unwrap();
    assert_eq!(photo.pixels.dimensions(), (width, height));
    assert!(photo.is_monochrome);
}

#[test]
fn a_photo_with_a_little_colour_is_not_called_black_and_white() {
    let grey = |x: u32, y: u32| [(x + y) as u8; 3];
    let tinted =
        RgbImage::from_fn(
            200,
            200,
            |x, y| if x < 40 && y < 40 { Rgb([90, 60, 70]) } else { Rgb(grey(x, y)) },
        );
    assert!(!is_monochrome(&tinted));
    assert!(is_monochrome(&RgbImage::from_fn(200, 200, |x, y| Rgb(grey(x, y)))));
}

proptest::proptest! {
    #[test]
    fn damaged_files_never_panic(name in 0..4_usize, at in 0..800_usize, byte: u8) {
        let mut bytes = bytes_of(["orientation_1.jpg", "progressive.jpg", "turned.png", "turned.webp"][name]);
        let at = at % bytes.len();
        bytes[at] = byte;
        let _ = from_bytes(&bytes);
    }
}

/// A textured picture of 270 x 190 as a JPEG, strong colours beside each other.
fn textured(sampling: jpeg_encoder::SamplingFactor, restart: u16, is_optimised: bool) -> Vec<u8> {
    let wave = |x: f64, y: f64, phase: f64| {
        (127.0 + 120.0 * (x / 9.0 + phase).sin() * (y / 7.0 - phase).cos()) as u8
    };
    let pixels: Vec<u8> = (0..190)
        .flat_map(|y| (0..270).map(move |x| (f64::from(x), f64::from(y))))
        .flat_map(|(x, y)| [wave(x, y, 0.0), wave(y, x, 1.0), wave(x + y, x - y, 2.0)])
        .collect();
    let mut jpeg = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut jpeg, 90);
    encoder.set_sampling_factor(sampling);
    encoder.set_restart_interval(restart);
    encoder.set_optimized_huffman_tables(is_optimised);
    encoder.encode(&pixels, 270, 190, jpeg_encoder::ColorType::Rgb).unwrap();
    jpeg
}

/// Pixels within two pixels of a polygon's bounds are compared; gives how many there are.
fn assert_part_is_of(whole: &Photo, part: &Photo, within: impl Fn(f64, f64) -> bool) -> usize {
    assert_eq!(part.pixels.dimensions(), whole.pixels.dimensions());
    let mut count = 0;
    for (x, y) in (0..whole.pixels.height()).flat_map(|y| (0..whole.pixels.width()).map(move |x| (x, y))) {
        let own = part.pixels.get(x, y);
        assert!(own.is_some() || !within(x.into(), y.into()), "{x}, {y} is wanted");
        if let Some(own) = own {
            assert_eq!(own, whole.pixels.code(x, y), "{x}, {y}");
            count += 1;
        }
    }
    count
}

#[test]
fn a_part_has_the_pixels_of_the_whole_to_the_bit() {
    use jpeg_encoder::SamplingFactor::{F_1_1, F_1_2, F_2_1, F_2_2};
    let (left, top) = (90.0, 60.0);
    let diamond =
        vec![(left, top + 40.0), (left + 40.0, top), (left + 80.0, top + 40.0), (left + 40.0, top + 80.0)];
    let within = |x: f64, y: f64| (x - left - 40.0).abs() + (y - top - 40.0).abs() <= 40.0;
    let mut apart = 0;
    for (sampling, restart) in [F_1_1, F_2_1, F_1_2, F_2_2]
        .into_iter()
        .flat_map(|sampling| [0, 1, 7].map(|restart| (sampling, restart)))
    {
        for is_optimised in [false, true] {
            let jpeg = textured(sampling, restart, is_optimised);
            let part = part_from_bytes(&jpeg, |_| Some(diamond.clone())).unwrap();
            assert!(is_optimised || !part.pixels.is_whole(), "the standard's tables have all codes");
            let count = assert_part_is_of(&from_bytes(&jpeg).unwrap(), &part, within);
            apart += usize::from(!part.pixels.is_whole());
            assert!(part.pixels.is_whole() || count < 270 * 190 / 2, "{sampling:?} {restart}: {count}");
        }
    }
    assert!(apart >= 12, "{apart} of 24 decoded apart");
}

#[test]
fn a_part_of_a_turned_photo_lies_where_it_is_seen() {
    for name in (1..=8).map(|k| format!("orientation_{k}.jpg")) {
        let bytes = bytes_of(&name);
        let whole = from_bytes(&bytes).unwrap();
        let corner = vec![(0.0, 0.0), (14.0, 0.0), (14.0, 14.0), (0.0, 14.0)];
        let part = part_from_bytes(&bytes, |preview| {
            assert_eq!(preview.size, whole.pixels.dimensions(), "{name}");
            let [r, g, b] = whole.pixels.code(4, 4).map(f64::from);
            // ITU-T T.871.
            let off = f64::from(preview.values[0]) - (0.299 * r + 0.587 * g + 0.114 * b);
            assert!(off.abs() < 12.0, "{name}: the first block differs by {off}");
            Some(corner.clone())
        });
        assert_part_is_of(&whole, &part.unwrap(), |x, y| x <= 14.0 && y <= 14.0);
    }
}
