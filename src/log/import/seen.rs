//! What the log holds already, by contents.
//!
//! A reading is the same if tank, analyte, moment, status and all numbers are; an event if tank, kind,
//! moment and amount are. Notes and sources do not count: an edited note makes nothing new. An entry is
//! known by what it first said and by what corrections made of it, so that neither the file it came from
//! nor an export adds it again, withdrawn or not. Rows that stand twice in one file are two entries.

use std::collections::{HashMap, HashSet};

use crate::log::{Entry, Id, Loaded, Reading, Source};
use crate::reading::Status;
use crate::terms::{Analyte, EventKind};

/// What makes an entry the same entry.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Key {
    place: Place,
    status: Option<Status>,
    numbers: [Option<u64>; 3],
}

/// What an entry is about: of two with the same place and other numbers, one may be meant for the other.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Place {
    tank: String,
    what: What,
    moment: (i64, u32),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum What {
    Reading(Analyte),
    Event(EventKind),
}

/// Contents of a log, kept up to date with it.
#[derive(Debug, Default)]
pub struct Seen {
    counts: HashMap<Key, usize>,
    keys_of: HashMap<Id, HashSet<Key>>,
    places: HashMap<Place, Id>,
    photos: HashMap<String, Photo>,
    records: usize,
}

/// What of a photo the log holds.
#[derive(Debug, Default)]
struct Photo {
    analytes: HashSet<Analyte>,
    /// How many readings it gave.
    parts: usize,
}

/// What is new among entries that are offered.
#[derive(Debug, Default, PartialEq)]
pub struct Fresh {
    /// Entries that the log does not hold.
    pub entries: Vec<Entry>,
    /// How many it holds.
    pub known: usize,
    /// New entries beside one that the log holds of the same thing at the same moment with other numbers.
    pub beside: Vec<(Entry, Id)>,
}

impl Seen {
    /// Takes in what has been added to the log.
    pub fn catch_up(&mut self, loaded: &Loaded) {
        if loaded.records().len() < self.records {
            *self = Self::default();
        }
        for record in &loaded.records()[self.records..] {
            self.note_photo(&record.entry);
            self.note(record.id, &record.entry);
            if let (Entry::Correction(_), Some(of)) = (&record.entry, record.entry.refers_to())
                && let Ok(live) = loaded.find(of)
            {
                self.note(of, live.entry);
            }
        }
        self.records = loaded.records().len();
    }

    fn note(&mut self, id: Id, entry: &Entry) {
        let Some(key) = key(entry) else { return };
        self.places.insert(key.place.clone(), id);
        if self.keys_of.entry(id).or_default().insert(key.clone()) {
            *self.counts.entry(key).or_default() += 1;
        }
    }

    fn note_photo(&mut self, entry: &Entry) {
        let Entry::Reading(Reading { source: Source::Photo(source), measurement, .. }) = entry else {
            return;
        };
        let photo = self.photos.entry(source.hash.clone()).or_default();
        photo.analytes.insert(measurement.analyte);
        photo.parts = photo.parts.max(source.parts.unwrap_or(1) as usize);
    }

    /// Whether all readings of the photo with this content hash were ever logged.
    pub fn has_photo(&self, hash: &str) -> bool {
        self.photos.get(hash).is_some_and(|photo| photo.analytes.len() >= photo.parts)
    }

    /// Whether this reading of the photo with this content hash was ever logged.
    pub fn has_part(&self, hash: &str, analyte: Analyte) -> bool {
        self.photos.get(hash).is_some_and(|photo| photo.analytes.contains(&analyte))
    }

    /// What of one file's entries is new.
    pub fn fresh(&self, offered: &[Entry]) -> Fresh {
        let mut met: HashMap<Key, usize> = HashMap::new();
        let mut fresh = Fresh::default();
        for entry in offered {
            let Some(key) = key(entry) else { continue };
            let beside = self.places.get(&key.place).copied();
            let held = self.counts.get(&key).copied().unwrap_or(0);
            let met = met.entry(key).or_default();
            *met += 1;
            if *met <= held {
                fresh.known += 1;
            } else {
                fresh.beside.extend(beside.filter(|_| held == 0).map(|id| (entry.clone(), id)));
                fresh.entries.push(entry.clone());
            }
        }
        fresh
    }
}

/// The key of a reading or an event.
pub(super) fn key(entry: &Entry) -> Option<Key> {
    // Adding zero makes one zero of both.
    let bits = |number: Option<f64>| number.map(|number| (number + 0.0).to_bits());
    let moment = entry.at().map(|at| (at.timestamp(), at.timestamp_subsec_nanos()))?;
    let place = |tank: &str, what| Place { tank: tank.to_owned(), what, moment };
    match entry {
        Entry::Reading(Reading { tank, measurement, .. }) => Some(Key {
            place: place(tank, What::Reading(measurement.analyte)),
            status: Some(measurement.status),
            numbers: match measurement.status {
                // Beside its bound, a bounded reading says nothing.
                Status::AboveRange => [None, measurement.low, None],
                Status::BelowDetection => [None, None, measurement.high],
                _ => [measurement.value, measurement.low, measurement.high],
            }
            .map(bits),
        }),
        Entry::Event(event) => Some(Key {
            place: place(&event.tank, What::Event(event.kind)),
            status: None,
            numbers: [event.amount, None, None].map(bits),
        }),
        _ => None,
    }
}
