//! Damaged photo files: refused, or read as if they were sound, but never a wrong number unwarned.
//!
//! `cargo bench --bench damage` does the same to many more files.

#[path = "support/damage.rs"]
mod damage;
#[path = "support/reading.rs"]
mod reading;

use damage::Damage;
use reading::{Fate, chart, file, read_bytes};
use tintwell::photo::{self, PhotoError};

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
