//! What damage to rendered photos' files does to their readings.
//!
//! `cargo bench --bench damage` prints a table; `TINTWELL_DAMAGED` sets the number of files a kind,
//! `TINTWELL_KIND` leaves one kind.

#[path = "../suite/support/damage.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod damage;
#[path = "../suite/support/reading.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod reading;

use std::collections::BTreeMap;

use damage::Damage;
use rayon::prelude::*;
use reading::{Fate, chart, file, read_bytes};

/// Small ones of several phones and kinds: progressive, turned, wide-gamut.
const PHOTOS: [(&str, &str); 8] = [
    ("ammonia_unknown/009.jpg", "rendered-ammonia"),
    ("ammonia_unknown/002.jpg", "rendered-ammonia"),
    ("series/001.jpg", "rendered-ammonia"),
    ("nitrite_unknown/003.jpg", "rendered-nitrite"),
    ("nitrite_unknown/009.jpg", "rendered-nitrite"),
    ("ph_unknown/003.jpg", "rendered-ph"),
    ("ph_unknown/012.jpg", "rendered-ph"),
    ("series/009.jpg", "rendered-nitrate"),
];

/// In the order of the columns.
const FATES: [Fate; 5] = [Fate::Same, Fate::Moved, Fate::Flagged, Fate::Refused, Fate::Wrong];

fn main() {
    let count: u64 = std::env::var("TINTWELL_DAMAGED").map_or(200, |text| text.parse().expect("a number"));
    let photos: Vec<_> = PHOTOS
        .iter()
        .map(|(name, chart_name)| {
            let (bytes, chart) = (std::fs::read(file(name)).unwrap(), chart(chart_name));
            let sound = read_bytes(&bytes, &chart);
            println!("{name}: {:?} {:?} to {:?} {:?}", sound.value, sound.low, sound.high, sound.flags);
            (bytes, chart, sound)
        })
        .collect();
    println!("{:8} {}", "", FATES.map(|fate| format!("{:>8}", format!("{fate:?}"))).join(" "));
    let wanted = std::env::var("TINTWELL_KIND").unwrap_or_default();
    for kind in Damage::ALL.into_iter().filter(|kind| format!("{kind:?}").contains(&wanted)) {
        let fates: Vec<(u64, Fate)> = (0..count)
            .into_par_iter()
            .map(|seed| {
                let (bytes, chart, sound) = &photos[(seed % photos.len() as u64) as usize];
                let harmed = read_bytes(&kind.apply(bytes, seed), chart);
                (seed, Fate::of(&harmed, sound, chart))
            })
            .collect();
        let mut sums: BTreeMap<Fate, usize> = BTreeMap::new();
        fates.iter().for_each(|(_, fate)| *sums.entry(*fate).or_default() += 1);
        let row = FATES.map(|fate| format!("{:8}", sums.get(&fate).copied().unwrap_or(0))).join(" ");
        let bad: Vec<u64> =
            fates.iter().filter(|(_, f)| *f == Fate::Wrong).map(|(seed, _)| *seed).take(12).collect();
        println!("{:8} {row}  wrong: {bad:?}", format!("{kind:?}"));
    }
}
