//! The file: where it is, who may write, and when a record counts as written.
//!
//! One writer at a time holds an operating-system lock on `log.lock`; the system drops it when its
//! holder ends, however it ends. A record is reported as written after the system has confirmed that
//! its bytes reached the disk (`fsync`). A write that fails is undone.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};

use super::torn::{self, TornTail};
use super::{Entry, Id, Loaded, LogError, Reading, Record, Source, TankLog, check, wire};

/// The log of one home folder.
#[derive(Debug, Clone)]
pub struct Log {
    path: PathBuf,
}

/// What an append did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Appended {
    /// The numbers of the entries written, in their order; all are safe on disk.
    pub ids: Vec<Id>,
    /// What an earlier crash had left at the end of the file, if anything.
    pub torn: Option<TornTail>,
}

impl Log {
    /// The log of the folder `home`, which need not exist yet. Touches no file.
    pub fn at(home: &Path) -> Self {
        Self { path: home.join("log.jsonl") }
    }

    /// The file itself; it exists once something has been logged.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes `entries`, all or none, and returns once they are safe on disk.
    ///
    /// # Errors
    /// If an entry is not fit to be written or the system refuses; then none was written.
    pub fn append(&self, entries: &[Entry], now: DateTime<FixedOffset>) -> Result<Appended, LogError> {
        entries.iter().try_for_each(check::entry)?;
        if entries.is_empty() {
            return Ok(Appended::default());
        }
        let mut locked = Locked::open(&self.path)?;
        locked.append(entries, now)
    }

    /// Writes what `choose` picks, knowing everything that others have written up to that moment.
    ///
    /// `view` is brought up to date first and no other writer comes between: the way to write only what
    /// is not there yet.
    ///
    /// # Errors
    /// As [`Self::append`].
    pub fn append_chosen(
        &self,
        view: &mut Loaded,
        now: DateTime<FixedOffset>,
        choose: impl FnOnce(&Loaded) -> Result<Vec<Entry>, LogError>,
    ) -> Result<Appended, LogError> {
        let mut locked = Locked::open(&self.path)?;
        view.catch_up(&self.path)?;
        let entries = choose(view)?;
        entries.iter().try_for_each(check::entry)?;
        if entries.is_empty() {
            return Ok(Appended { ids: Vec::new(), torn: locked.torn });
        }
        locked.append(&entries, now)
    }

    /// Reads everything.
    ///
    /// # Errors
    /// If the file is there and cannot be read. Damaged lines are no error: see [`Loaded::problems`].
    pub fn load(&self) -> Result<Loaded, LogError> {
        let mut loaded = Loaded::default();
        loaded.catch_up(&self.path)?;
        Ok(loaded)
    }

    /// Reads everything and keeps what matters to one tank.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub fn load_tank(&self, tank: &str) -> Result<TankLog, LogError> {
        let mut kept = Loaded::only(tank);
        kept.catch_up(&self.path)?;
        // An entry that was first another tank's: rare enough to read everything for it.
        let loaded = if kept.lacks() { self.load()? } else { kept };
        Ok(TankLog::new(tank, loaded))
    }
}

/// The log's file while this process alone may write it.
struct Locked<'a> {
    path: &'a Path,
    file: File,
    torn: Option<TornTail>,
    /// Dropped last: the system unlocks it then.
    _lock: File,
}

impl<'a> Locked<'a> {
    fn open(path: &'a Path) -> Result<Self, LogError> {
        let folder = path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(|error| LogError::io("make the folder of", path, error))?;
        let lock_path = path.with_extension("lock");
        let options = |create| {
            let mut options = OpenOptions::new();
            options.read(true).write(true).create(create).truncate(false);
            options
        };
        let lock = options(true).open(&lock_path).map_err(|error| LogError::io("open", &lock_path, error))?;
        lock.lock().map_err(|error| LogError::io("lock", &lock_path, error))?;
        let mut file = match options(false).open(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => create(path, folder)?,
            other => other.map_err(|error| LogError::io("open", path, error))?,
        };
        let torn = torn::mend(&mut file, path)?;
        Ok(Self { path, file, torn, _lock: lock })
    }

    fn append(&mut self, entries: &[Entry], now: DateTime<FixedOffset>) -> Result<Appended, LogError> {
        let length =
            self.file.seek(SeekFrom::End(0)).map_err(|error| LogError::io("read", self.path, error))?;
        let first = self.next_id(length)?;
        if first + entries.len() as u64 > Id::MAX.0 {
            return Err(LogError::NoNumberLeft(Id(first - 1)));
        }
        let ids: Vec<Id> = (first..).map(Id).take(entries.len()).collect();
        let mut text = String::new();
        for (&id, entry) in ids.iter().zip(entries) {
            let entry = with_parts(entry, entries);
            text.push_str(&wire::to_line(&Record { id, logged_at: now, entry }));
            text.push('\n');
        }
        self.write(length, text.as_bytes())?;
        Ok(Appended { ids, torn: self.torn.take() })
    }

    /// Writes at the end and waits for the disk; on failure takes back what was written.
    fn write(&mut self, length: u64, bytes: &[u8]) -> Result<(), LogError> {
        let path = self.path;
        let written = self
            .file
            .seek(SeekFrom::Start(length))
            .and_then(|_| self.file.write_all(bytes))
            .and_then(|()| self.file.sync_data());
        let Err(error) = written else { return Ok(()) };
        self.file
            .set_len(length)
            .and_then(|()| self.file.sync_all())
            .map_err(|undo| LogError::io("take a failed write back in", path, undo))?;
        Err(LogError::io("write", path, error))
    }

    /// One more than the last line's number; if that line is damaged, than the largest there is.
    fn next_id(&mut self, length: u64) -> Result<u64, LogError> {
        let fail = |error| LogError::io("read", self.path, error);
        if length == 0 {
            return Ok(1);
        }
        let start = torn::last_line_start(&mut self.file, length - 1).map_err(fail)?;
        let line = torn::read_exact_at(&mut self.file, start, length - 1 - start).map_err(fail)?;
        let last = match wire::number_of(&line) {
            Some(id) => id,
            None => Log { path: self.path.to_owned() }.load()?.largest_id(),
        };
        Ok(last.0 + 1)
    }
}

/// The entry, which if it is of a photo says how many of the photo are written together.
fn with_parts(entry: &Entry, together: &[Entry]) -> Entry {
    fn photo(entry: &Entry) -> Option<&str> {
        match entry {
            Entry::Reading(Reading { source: Source::Photo(photo), .. }) => Some(&photo.hash),
            _ => None,
        }
    }
    let mut entry = entry.clone();
    let parts = photo(&entry).map(|hash| together.iter().filter(|other| photo(other) == Some(hash)).count());
    if let Entry::Reading(Reading { source: Source::Photo(photo), .. }) = &mut entry {
        photo.parts = photo.parts.or(parts.and_then(|parts| u32::try_from(parts).ok()));
    }
    entry
}

/// Makes an empty log whose name is safe on disk too.
fn create(path: &Path, folder: &Path) -> Result<File, LogError> {
    let fail = |error| LogError::io("make", path, error);
    let file =
        OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path).map_err(fail)?;
    file.sync_all().map_err(fail)?;
    // A folder cannot be opened for this on every system, and those that cannot need it not.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(file)
}
