//! The end of the log without the rest of it.
//!
//! Corrections and withdrawals stand below what they refer to, so reading upwards meets them first.

use std::collections::HashMap;
use std::fs::File;
use std::io;

use super::record::{Change, Entry, Id, Record};
use super::{Log, LogError, torn, wire};

/// Bytes read at first; each further step reads twice as many.
const FIRST_BLOCK: u64 = 16 * 1024;
/// The most that is read in one step.
const LARGEST_BLOCK: u64 = 4 << 20;

/// What later lines say about entries that have not been met yet.
#[derive(Default)]
struct Later {
    /// Whether the last verdict on an entry is that it counts.
    counts: HashMap<Id, bool>,
    /// Corrections, the last first.
    changes: HashMap<Id, Vec<Change>>,
}

impl Log {
    /// The last `count` entries that count and that `wanted` accepts, as they stand after corrections, in
    /// the order of the file.
    ///
    /// Damaged lines and numbers that stand twice are passed over in silence: [`Log::load`] reports them.
    ///
    /// # Errors
    /// If the file is there and cannot be read.
    pub fn last(&self, count: usize, wanted: impl Fn(&Entry) -> bool) -> Result<Vec<Record>, LogError> {
        let fail = |error| LogError::io("read", self.path(), error);
        let mut file = match File::open(self.path()) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(fail(error)),
        };
        let mut found = Vec::new();
        let mut later = Later::default();
        let mut end = file.metadata().map_err(fail)?.len();
        let mut block = FIRST_BLOCK;
        let mut rest = Vec::new();
        while end > 0 && found.len() < count {
            let start = end.saturating_sub(block);
            let mut bytes = torn::read_exact_at(&mut file, start, end - start).map_err(fail)?;
            bytes.append(&mut rest);
            let mut lines = bytes.split(|&byte| byte == b'\n');
            let first = if start > 0 { lines.next().unwrap_or_default() } else { &[] };
            let records = lines.rev().filter_map(|line| wire::from_line(line).ok());
            found.extend(
                records
                    .filter_map(|record| later.settle(record))
                    .filter(|r| wanted(&r.entry))
                    .take(count - found.len()),
            );
            rest = first.to_vec();
            end = start;
            block = (2 * block).min(LARGEST_BLOCK);
        }
        found.reverse();
        Ok(found)
    }
}

impl Later {
    /// Remembers what a line says about others; gives back an entry that counts, corrected.
    fn settle(&mut self, mut record: Record) -> Option<Record> {
        match record.entry {
            Entry::Withdrawal(verdict) => {
                self.counts.entry(verdict.of).or_insert(false);
            }
            Entry::Restoration(verdict) => {
                self.counts.entry(verdict.of).or_insert(true);
            }
            Entry::Correction(correction) => {
                self.changes.entry(correction.of).or_default().push(correction.set);
            }
            _ if self.counts.get(&record.id) == Some(&false) => {}
            _ => {
                for change in self.changes.remove(&record.id).into_iter().flatten().rev() {
                    change.apply(&mut record.entry);
                }
                return Some(record);
            }
        }
        None
    }
}
