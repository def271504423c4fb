//! Damaged photo files: refused, or read as if they were sound, but never a wrong number unwarned.
//!
//! `cargo bench --bench damage` does the same to many more files.

use tintwell::photo::{self, PhotoError};

use crate::support::damage::Damage;
use crate::support::reading::{Fate, chart, file, read_bytes};

#[test]
fn damage_to_the_picture_data_is_told_or_does_no_harm() {
    let photos =
        [("ammonia_unknown/009.jpg", "rendered-ammonia"), ("nitrite_unknown/009.jpg", "rendered-nitrite")];
    let mut refused = 0;
    for (name, chart_name) in photos {
        let (bytes, chart) = (std::fs::read(file(name)).unwrap(), chart(chart_name));
        let sound = read_bytes(&bytes, &chart);
        for kind in Damage::ALL {
            for seed in 0..4 {
                let fate = Fate::of(&read_bytes(&kind.apply(&bytes, seed), &chart), &sound, &chart);
                assert_ne!(fate, Fate::Wrong, "{name} {kind:?} {seed}");
                refused += usize::from(fate == Fate::Refused);
            }
        }
    }
    assert!(refused >= 50, "{refused} of 72 refused");
}

#[test]
fn a_file_with_a_hole_and_a_sound_end_is_refused() {
    for name in ["series/001.jpg", "nitrite_unknown/009.jpg"] {
        let bytes = std::fs::read(file(name)).unwrap();
        let (from, to) = (bytes.len() / 2, bytes.len() / 2 + 700);
        let hole = [&bytes[..from], &bytes[to..]].concat();
        let twice = [&bytes[..to], &bytes[from..]].concat();
        let mut zeros = bytes.clone();
        zeros[from..to].fill(0);
        for (what, damaged) in [("hole", hole), ("twice", twice), ("zeros", zeros)] {
            let outcome = photo::from_bytes(&damaged);
            assert!(matches!(outcome, Err(PhotoError::Damaged { .. })), "{name} {what}: {outcome:?}");
        }
    }
}

/// Headers that claim more than there is must be refused before memory is spent.
#[test]
fn lying_sizes_are_refused_before_they_cost_anything() {
    let bytes = std::fs::read(file("series/001.jpg")).unwrap();
    let frame = bytes.windows(4).position(|w| w[0] == 0xff && w[1] == 0xc0 && w[2] == 0).unwrap();
    for (height, width) in [(65_535_u16, 65_535_u16), (20_000, 3_000), (961, 1280 + 64), (1, 1)] {
        let mut lying = bytes.clone();
        lying[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
        lying[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
        let began = std::time::Instant::now();
        let outcome = photo::from_bytes(&lying);
        assert!(outcome.is_err(), "{width} x {height}: {outcome:?}");
        assert!(began.elapsed().as_secs() < 60, "bounded work");
    }
}

/// CRC-32 of a PNG chunk (ISO/IEC 15948, 5.5).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xedb8_8320 * (crc & 1)))
    })
}

/// The file with another size in its header, all checksums right.
fn resized(kind: &str, bytes: &[u8], (width, height): (u32, u32)) -> Vec<u8> {
    let mut lying = bytes.to_vec();
    match kind {
        "jpeg" => {
            let frame = bytes.windows(3).position(|w| w == [0xff, 0xc0, 0x00]).unwrap();
            lying[frame + 5..frame + 7].copy_from_slice(&(height as u16).to_be_bytes());
            lying[frame + 7..frame + 9].copy_from_slice(&(width as u16).to_be_bytes());
        }
        "png" => {
            lying[16..20].copy_from_slice(&width.to_be_bytes());
            lying[20..24].copy_from_slice(&height.to_be_bytes());
            let sum = crc(&lying[12..29]);
            lying[29..33].copy_from_slice(&sum.to_be_bytes());
        }
        // Lossless WebP (RFC 9649, 3.4): 14 bits each, less one, behind the signature.
        _ => {
            let flags = u32::from_le_bytes(*bytes[21..].first_chunk().unwrap()) & 0xf000_0000;
            let size = flags | (height - 1) << 14 | (width - 1);
            lying[21..25].copy_from_slice(&size.to_le_bytes());
        }
    }
    lying
}

/// A smaller size that needs as many blocks as the true one cannot be told: the picture is then the true
/// one but for a strip at its right or lower border. All other sizes are refused.
#[test]
fn a_false_size_is_refused_or_trims_the_border_alone() {
    let (original, chart) = (std::fs::read(file("series/001.jpg")).unwrap(), chart("rendered-ammonia"));
    let sound = photo::from_bytes(&original).unwrap().to_srgb();
    let (width, height) = sound.dimensions();
    let saved = |format: image::ImageFormat| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        sound.write_to(&mut bytes, format).unwrap();
        bytes.into_inner()
    };
    let files = [
        ("jpeg", original),
        ("png", saved(image::ImageFormat::Png)),
        ("webp", saved(image::ImageFormat::WebP)),
    ];
    for (kind, bytes) in files {
        let seen = read_bytes(&bytes, &chart);
        assert_eq!(resized(kind, &bytes, (width, height)), bytes, "{kind}");
        let mut refused = 0;
        for (across, down) in
            [(-8, 0), (0, -8), (-1, -1), (8, 0), (0, 8), (-16, 0), (0, -16), (-640, 0), (0, -200), (64, -48)]
        {
            let size = (width.wrapping_add_signed(across), height.wrapping_add_signed(down));
            let lying = resized(kind, &bytes, size);
            let Ok(photo) = photo::from_bytes(&lying) else {
                refused += 1;
                continue;
            };
            if kind != "webp" {
                assert!(size.0 <= width && size.1 <= height, "{kind} {size:?}: pixels from nowhere");
                let inner = sound.enumerate_pixels().filter(|(x, y, _)| x + 16 < size.0 && y + 16 < size.1);
                let shown = photo.to_srgb();
                let differ = inner.filter(|(x, y, pixel)| shown.get_pixel(*x, *y) != *pixel).count();
                assert_eq!(differ, 0, "{kind} {size:?}: other pixels");
            }
            let fate = Fate::of(&read_bytes(&lying, &chart), &seen, &chart);
            assert!(matches!(fate, Fate::Same | Fate::Refused), "{kind} {size:?}: {fate:?}");
        }
        assert!(kind == "webp" || refused >= 6, "{kind}: {refused} of 10 refused");
    }
}

/// A picture of the most pixels that are decoded, at the most bits, and a progressive JPEG that claims as
/// many: the promise is 800 MB, the limit here leaves room for what the system counts besides.
#[cfg(target_os = "linux")]
#[test]
fn the_largest_photos_stay_below_the_promised_memory() {
    let folder = tempfile::tempdir().unwrap();
    let black = folder.path().join("black.png");
    let mut encoder =
        png::Encoder::new(std::io::BufWriter::new(std::fs::File::create(&black).unwrap()), 8_000, 8_000);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_compression(png::Compression::Fastest);
    let mut writer = encoder.write_header().unwrap();
    let mut stream = writer.stream_writer().unwrap();
    let row = vec![0; 8 * 8_000];
    (0..8_000).for_each(|_| std::io::Write::write_all(&mut stream, &row).unwrap());
    stream.finish().unwrap();
    drop(writer);
    let lying = folder.path().join("lying.jpg");
    let mut bytes = std::fs::read(file("nitrite_unknown/009.jpg")).unwrap();
    let frame = bytes.windows(3).position(|w| w == [0xff, 0xc2, 0x00]).unwrap();
    bytes[frame + 5..frame + 9].copy_from_slice(&[0x1f, 0x40, 0x1f, 0x40]);
    std::fs::write(&lying, bytes).unwrap();
    for (photo, reason) in [(black, "too dark"), (lying, "damaged")] {
        let output = std::process::Command::new("sh")
            .args(["-c", "ulimit -v 1100000; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_tintwell")])
            .args(["read", "--dry-run", "--chart", "rendered-ammonia", "--home"])
            .args([folder.path(), &photo])
            .env("RAYON_NUM_THREADS", "2")
            .output()
            .unwrap();
        let said =
            String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(2) && said.contains(reason), "{said}");
    }
}
