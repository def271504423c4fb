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
enum Key {
    Reading { tank: String, analyte: Analyte, moment: (i64, u32), status: Status, numbers: [Option<u64>; 3] },
    Event { tank: String, kind: EventKind, moment: (i64, u32), amount: Option<u64> },
}

/// Contents of a log, kept up to date with it.
#[derive(Debug, Default)]
pub struct Seen {
    counts: HashMap<Key, usize>,
    keys_of: HashMap<Id, HashSet<Key>>,
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
            let held = self.counts.get(&key).copied().unwrap_or(0);
            let met = met.entry(key).or_default();
            *met += 1;
            if *met <= held {
                fresh.known += 1;
            } else {
                fresh.entries.push(entry.clone());
            }
        }
        fresh
    }
}

fn key(entry: &Entry) -> Option<Key> {
    // Adding zero makes one zero of both.
    let bits = |number: Option<f64>| number.map(|number| (number + 0.0).to_bits());
    let moment = entry.at().map(|at| (at.timestamp(), at.timestamp_subsec_nanos()))?;
    match entry {
        Entry::Reading(reading) => {
            let measurement = &reading.measurement;
            Some(Key::Reading {
                tank: reading.tank.clone(),
                analyte: measurement.analyte,
                moment,
                status: measurement.status,
                numbers: [measurement.value, measurement.low, measurement.high].map(bits),
            })
        }
        Entry::Event(event) => Some(Key::Event {
            tank: event.tank.clone(),
            kind: event.kind,
            moment,
            amount: bits(event.amount),
        }),
        _ => None,
    }
}
