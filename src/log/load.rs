//! Everything the log holds, and what of it counts today.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{self, BufReader, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use super::lines::{Lines, Piece};
use super::numbers::{Numbers, Place};
use super::record::{Change, Correction, Entry, Id, Reading, Record};
use super::wire::{self, LineError};
use super::{LogError, Source};
use crate::reading::Status;
use crate::terms::TankFacts;
use crate::terms::tank::{ChartTop, TapWater};

/// A line that could not be taken into account; it stays in the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}:{line}: {why}", file.display())]
pub struct Problem {
    /// The log's file.
    pub file: PathBuf,
    /// The line, counted from 1.
    pub line: u64,
    /// What is wrong.
    pub why: String,
}

/// The log as read: all records in the order of the file, and which of them count.
#[derive(Debug, Default)]
pub struct Loaded {
    records: Vec<Record>,
    numbers: Numbers,
    ambiguous: HashSet<Id>,
    corrected: HashMap<usize, Entry>,
    withdrawn: HashSet<usize>,
    problems: Vec<Problem>,
    /// The one tank whose entries are kept; `None` if all are.
    only: Option<String>,
    /// Whether a correction makes an entry that was not kept one of that tank.
    lacks: bool,
    /// Bytes and lines of the file that are taken into account.
    read: (u64, u64),
}

/// An entry that counts, as it stands after all corrections.
#[derive(Debug, Clone, Copy)]
pub struct Live<'a> {
    /// The record as it was first written.
    pub record: &'a Record,
    /// What it says today.
    pub entry: &'a Entry,
}

impl Live<'_> {
    /// Whether a correction changed it.
    pub fn is_corrected(&self) -> bool {
        !std::ptr::eq(self.entry, &raw const self.record.entry)
    }
}

impl Loaded {
    /// Every record ever written, in the order of the file.
    pub fn records(&self) -> &[Record] {
        &self.records
    }

    /// Lines that could not be taken into account.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    /// Entries that count, in the order of the file; corrections and withdrawals are worked in.
    pub fn live(&self) -> impl Iterator<Item = Live<'_>> {
        (0..self.records.len())
            .filter(|index| !self.withdrawn.contains(index))
            .map(|index| self.live_at(index))
            .filter(|live| live.entry.refers_to().is_none())
    }

    /// Entries that were withdrawn, as they stood after corrections.
    pub fn withdrawn(&self) -> impl Iterator<Item = Live<'_>> {
        let mut indices: Vec<usize> = self.withdrawn.iter().copied().collect();
        indices.sort_unstable();
        indices.into_iter().map(|index| self.live_at(index))
    }

    /// Names of tanks that an entry that counts is about, in order of first mention.
    pub fn tanks(&self) -> Vec<&str> {
        let mut seen = HashSet::new();
        self.live().filter_map(|live| live.entry.tank()).filter(|&tank| seen.insert(tank)).collect()
    }

    /// What has been told of a tank; later facts replace earlier ones.
    pub fn facts(&self, tank: &str) -> TankFacts {
        facts(tank, self.live())
    }

    /// Whether these facts say anything that is not known yet.
    pub fn would_change(&self, told: &TankFacts) -> bool {
        let known = self.facts(&told.tank);
        let mut after = known.clone();
        merge(&mut after, told);
        after != known
    }

    /// Whether readings of the photo with this content hash were ever logged, live or not.
    pub fn has_photo(&self, hash: &str) -> bool {
        self.records.iter().any(|record| match &record.entry {
            Entry::Reading(Reading { source: Source::Photo(photo), .. }) => photo.hash == hash,
            _ => false,
        })
    }

    /// The entry with this number.
    ///
    /// # Errors
    /// If there is none, or more than one.
    pub fn find(&self, id: Id) -> Result<Live<'_>, LogError> {
        if self.ambiguous.contains(&id) {
            return Err(LogError::Ambiguous(id));
        }
        let place = self.numbers.get(id).and_then(Place::index);
        place.map(|index| self.live_at(index)).ok_or(LogError::NoSuchEntry(id))
    }

    /// Whether the entry with this number has been withdrawn.
    pub fn is_withdrawn(&self, id: Id) -> bool {
        self.numbers.get(id).and_then(Place::index).is_some_and(|index| self.withdrawn.contains(&index))
    }

    /// The largest number in use; zero in an empty log.
    pub fn largest_id(&self) -> Id {
        self.numbers.largest().unwrap_or(Id(0))
    }

    fn live_at(&self, index: usize) -> Live<'_> {
        let record = &self.records[index];
        Live { record, entry: self.corrected.get(&index).unwrap_or(&record.entry) }
    }

    /// Nothing yet, and to keep what matters to one tank alone.
    pub(super) fn only(tank: &str) -> Self {
        Self { only: Some(tank.to_owned()), ..Self::default() }
    }

    /// Whether an entry counts that was not kept.
    pub(super) const fn lacks(&self) -> bool {
        self.lacks
    }

    fn forget(&mut self) {
        *self = Self { only: self.only.take(), ..Self::default() };
    }

    /// Reads what has been added to the file since.
    pub(super) fn catch_up(&mut self, path: &Path) -> Result<(), LogError> {
        let fail = |error| LogError::io("read", path, error);
        let mut file = match File::open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                self.forget();
                return Ok(());
            }
            Err(error) => return Err(fail(error)),
        };
        if file.metadata().map_err(fail)?.len() < self.read.0 {
            // Another file stands in its place: what was read of the old one says nothing.
            self.forget();
        }
        file.seek(SeekFrom::Start(self.read.0)).map_err(fail)?;
        let mut lines = Lines::new(BufReader::with_capacity(1 << 16, file), self.read.0, self.read.1);
        loop {
            let (done, line) = (lines.read, lines.line + 1);
            let read = match lines.next().map_err(fail)? {
                None | Some(Piece::Unfinished([])) => break,
                Some(Piece::Whole(text)) if text.iter().all(u8::is_ascii_whitespace) => Ok(None),
                Some(Piece::Whole(text)) => self.parse(text).map(Some),
                Some(Piece::TooLong) => Err(LineError::Senseless("longer than any record".to_owned())),
                Some(Piece::Unfinished(text)) => {
                    // A writer may be at it this moment, so it is not counted as read; a whole record
                    // without its line end counts already now, as the next writer completes it.
                    if let Ok((id, record)) = self.parse(text) {
                        // The line end that is still to come will count the line.
                        self.read = (done + text.len() as u64, line - 1);
                        self.take(id, record, path, line);
                    }
                    return Ok(());
                }
            };
            match read {
                Ok(Some((id, record))) => self.take(id, record, path, line),
                Ok(None) => {}
                Err(why) => self.problem(path, line, why.to_string()),
            }
            self.read = (lines.read, lines.line);
        }
        Ok(())
    }

    fn problem(&mut self, path: &Path, line: u64, why: String) {
        self.problems.push(Problem { file: path.to_owned(), line, why });
    }

    /// What a line says that is to be kept, and its number.
    fn parse(&self, text: &[u8]) -> Result<(Id, Option<Record>), LineError> {
        match &self.only {
            Some(tank) => wire::about(tank, text),
            None => wire::from_line(text).map(|record| (record.id, Some(record))),
        }
    }

    fn take(&mut self, id: Id, record: Option<Record>, path: &Path, line: u64) {
        let index = self.records.len();
        let place = if record.is_some() { Place::At(index) } else { Place::NotKept };
        if !self.numbers.note(id, place) {
            self.ambiguous.insert(id);
            self.problem(path, line, format!("the number {id} stands in the file already"));
        }
        let Some(record) = record else { return };
        if let Some(of) = record.entry.refers_to() {
            match self.numbers.get(of).filter(|&target| target != place) {
                Some(target) if !self.ambiguous.contains(&of) => self.apply(&record.entry, target),
                _ => self.problem(path, line, format!("refers to {of}, which is not one entry above it")),
            }
        }
        self.records.push(record);
    }

    fn apply(&mut self, change: &Entry, target: Place) {
        let Place::At(target) = target else {
            let moves_here =
                |tank| matches!(change, Entry::Correction(c) if c.set.tank.as_ref() == Some(tank));
            self.lacks |= self.only.as_ref().is_some_and(moves_here);
            return;
        };
        match change {
            Entry::Withdrawal(_) => {
                self.withdrawn.insert(target);
            }
            Entry::Restoration(_) => {
                self.withdrawn.remove(&target);
            }
            Entry::Correction(Correction { set, .. }) => {
                let entry =
                    self.corrected.entry(target).or_insert_with(|| self.records[target].entry.clone());
                set.apply(entry);
            }
            _ => {}
        }
    }
}

impl Change {
    /// Works the change into `entry`.
    pub(super) fn apply(&self, entry: &mut Entry) {
        match entry {
            Entry::Reading(reading) => {
                if let Some(value) = self.reading {
                    let measurement = &mut reading.measurement;
                    measurement.analyte = value.analyte;
                    measurement.status = Status::Read;
                    measurement.value = Some(value.value);
                    (measurement.low, measurement.high) = (None, None);
                    // Doubts about the old value say nothing of the new one.
                    measurement.flags.clear();
                }
                set(&mut reading.measurement.taken_at, self.at.as_ref());
                set(&mut reading.tank, self.tank.as_ref());
                set(&mut reading.note, self.note.as_ref());
            }
            Entry::Event(event) => {
                if let Some(amount) = self.event {
                    (event.kind, event.amount) = (amount.kind, amount.amount);
                }
                set(&mut event.at, self.at.as_ref());
                set(&mut event.tank, self.tank.as_ref());
                set(&mut event.note, self.note.as_ref());
            }
            _ => {}
        }
    }
}

fn set<T: Clone>(field: &mut T, change: Option<&T>) {
    if let Some(change) = change {
        field.clone_from(change);
    }
}

/// What `entries` tell of a tank; later facts replace earlier ones.
pub(super) fn facts<'a>(tank: &str, entries: impl Iterator<Item = Live<'a>>) -> TankFacts {
    let mut facts = TankFacts { tank: tank.to_owned(), ..TankFacts::default() };
    for live in entries {
        if let Entry::Tank(told) = live.entry
            && told.tank == tank
        {
            merge(&mut facts, told);
        }
    }
    facts
}

/// Lays what `told` knows over `facts`.
fn merge(facts: &mut TankFacts, told: &TankFacts) {
    let TankFacts {
        tank: _,
        started_at,
        volume_l,
        water,
        temperature_c,
        seeding,
        ammonia_source,
        plants,
        filter_flow,
        water_conditioner,
        tap: TapWater { nitrate_mg_l, ammonia_mg_l, ph, alkalinity_meq_l, disinfectant },
        chart_top: ChartTop { ammonia, nitrite, nitrate, ph: ph_top },
    } = told;
    over(&mut facts.started_at, started_at);
    over(&mut facts.volume_l, volume_l);
    over(&mut facts.water, water);
    over(&mut facts.temperature_c, temperature_c);
    over(&mut facts.seeding, seeding);
    over(&mut facts.ammonia_source, ammonia_source);
    over(&mut facts.plants, plants);
    over(&mut facts.filter_flow, filter_flow);
    over(&mut facts.water_conditioner, water_conditioner);
    over(&mut facts.tap.nitrate_mg_l, nitrate_mg_l);
    over(&mut facts.tap.ammonia_mg_l, ammonia_mg_l);
    over(&mut facts.tap.ph, ph);
    over(&mut facts.tap.alkalinity_meq_l, alkalinity_meq_l);
    over(&mut facts.tap.disinfectant, disinfectant);
    over(&mut facts.chart_top.ammonia, ammonia);
    over(&mut facts.chart_top.nitrite, nitrite);
    over(&mut facts.chart_top.nitrate, nitrate);
    over(&mut facts.chart_top.ph, ph_top);
}

fn over<T: Clone>(fact: &mut Option<T>, told: &Option<T>) {
    if told.is_some() {
        fact.clone_from(told);
    }
}
