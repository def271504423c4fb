//! Damage to photo files as cards, cables and careless programs do it, the same for the same seed.

use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Kinds of damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Damage {
    /// One to three bits of the picture data are turned over.
    Flips,
    /// Some bytes of the picture data hold anything.
    Noise,
    /// A run of bytes in the picture data is missing.
    Hole,
    /// A run of bytes in the picture data is zero, as in a lost sector.
    Zeros,
    /// Two runs of the picture data have changed places.
    Swap,
    /// A run of the picture data stands there twice.
    Twice,
    /// The file ends early, with or without a marker of its end.
    Cut,
    /// A byte of the tables and headers holds anything.
    Header,
    /// The header claims other dimensions.
    Size,
}

impl Damage {
    /// Every one.
    pub const ALL: [Self; 9] = [
        Self::Flips,
        Self::Noise,
        Self::Hole,
        Self::Zeros,
        Self::Swap,
        Self::Twice,
        Self::Cut,
        Self::Header,
        Self::Size,
    ];

    /// Does it to a JPEG file.
    pub fn apply(self, jpeg: &[u8], seed: u64) -> Vec<u8> {
        let mut rng = Pcg64Mcg::seed_from_u64(seed ^ ((self as u64) << 40));
        let mut bytes = jpeg.to_vec();
        let scan = scan_start(jpeg);
        let end = bytes.len() - 2;
        let length = rng.random_range(1..=4096.min((end - scan) / 4));
        let from = rng.random_range(scan..end - length);
        match self {
            Self::Flips => {
                for _ in 0..rng.random_range(1..=3) {
                    bytes[rng.random_range(scan..end)] ^= 1 << rng.random_range(0..8);
                }
            }
            Self::Noise => {
                bytes[from..from + length.min(16)].iter_mut().for_each(|b| *b = rng.next_u32() as u8);
            }
            Self::Hole => drop(bytes.drain(from..from + length)),
            Self::Zeros => bytes[from..from + length].fill(0),
            Self::Swap => {
                let other = rng.random_range(scan..end - length);
                for k in 0..length.min(from.abs_diff(other)) {
                    bytes.swap(from + k, other + k);
                }
            }
            Self::Twice => {
                let copy = bytes[from..from + length].to_vec();
                bytes.splice(from..from, copy);
            }
            Self::Cut => {
                bytes.truncate(from);
                if rng.random_range(0..2) == 0 {
                    bytes.extend([0xff, 0xd9]);
                }
            }
            Self::Header => bytes[rng.random_range(2..scan)] = rng.next_u32() as u8,
            Self::Size => {
                let at = frame_header(jpeg) + 5 + 2 * rng.random_range(0..2);
                let old = u16::from_be_bytes([bytes[at], bytes[at + 1]]);
                let new = match rng.random_range(0..3) {
                    0 => rng.next_u32() as u16,
                    1 => old.saturating_sub(8 * rng.random_range(1..=8)),
                    _ => old + 8 * rng.random_range(1..=8),
                };
                bytes[at..at + 2].copy_from_slice(&new.to_be_bytes());
            }
        }
        bytes
    }
}

/// Markers and where they stand, up to the first scan (ITU-T T.81, annex B).
fn segments(jpeg: &[u8]) -> impl Iterator<Item = (u8, usize)> {
    let mut at = 2;
    std::iter::from_fn(move || {
        let marker = jpeg[at + 1];
        let here = at;
        at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        Some((marker, here))
    })
}

/// First byte of the first scan's picture data.
fn scan_start(jpeg: &[u8]) -> usize {
    let at = segments(jpeg).find(|(marker, _)| *marker == 0xda).expect("a scan").1;
    at + 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]))
}

fn frame_header(jpeg: &[u8]) -> usize {
    segments(jpeg).find(|(marker, _)| (0xc0..=0xc2).contains(marker)).expect("a frame header").1
}
