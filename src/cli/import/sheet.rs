//! The contact sheet of an import, written photo by photo.

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use anyhow::{Context, Result};

use crate::cli::{logging, page_name, thumbnail};
use crate::log::import::photos::{Done, Outcome};
use crate::photo;
use crate::reading::Sighting;
use crate::report::picture::{self, Scaled};
use crate::report::sheet::{self, Shot};

/// Longest side of a photo on the sheet, pixels.
const SIDE: u32 = 360;

/// A small JPEG, its width and height.
type Small = (Vec<u8>, (u32, u32));

/// The sheet under work; photos wait in it from when they are measured until their fate is told.
#[derive(Debug)]
pub struct Sheet {
    path: PathBuf,
    file: Mutex<BufWriter<File>>,
    waiting: Mutex<HashMap<PathBuf, Small>>,
    /// The first failure to write: the import goes on without the sheet.
    failed: Mutex<Option<io::Error>>,
}

impl Sheet {
    /// Begins a sheet in a file.
    ///
    /// # Errors
    /// The file's name is not that of a page, or it cannot be written.
    pub fn begin(path: &Path) -> Result<Self> {
        page_name::check(path)?;
        let file = File::create(path).with_context(|| unwritable(path))?;
        let sheet = Self {
            path: path.to_owned(),
            file: Mutex::new(BufWriter::new(file)),
            waiting: Mutex::default(),
            failed: Mutex::default(),
        };
        sheet.write(&sheet::head());
        Ok(sheet)
    }

    /// Keeps a measured photo, small, until its fate is told.
    pub fn show(&self, path: &Path, photo: Scaled, sightings: &[Sighting]) {
        if let Some(small) = small(photo, sightings) {
            locked(&self.waiting).insert(path.to_owned(), small);
        }
    }

    /// Adds a photo whose fate is sure.
    pub fn add(&self, done: &Done) {
        let waiting = locked(&self.waiting).remove(&done.path);
        let (mut found, mut refused) = (Vec::new(), Vec::new());
        match &done.outcome {
            Outcome::Logged { ids, entries, refused: parts } => {
                found.extend(ids.iter().zip(entries).map(|(&id, entry)| logging::phrase(id, entry)));
                refused.clone_from(parts);
            }
            Outcome::Known => found.push("in the log already".to_owned()),
            Outcome::Copy { of } => found.push(format!("the same photo as {}", of.display())),
            Outcome::Refused { reason } => refused.push(reason.clone()),
        }
        // What was refused before it was measured is opened for the sheet alone.
        let is_refused = matches!(done.outcome, Outcome::Refused { .. });
        let picture = waiting.or_else(|| is_refused.then(|| opened(&done.path)).flatten());
        let name = done.path.display().to_string();
        self.write(&sheet::shot(&Shot { name: &name, picture, found, refused }));
    }

    /// Ends the sheet with how many photos ended how.
    ///
    /// # Errors
    /// Something of it could not be written.
    pub fn end(&self, summary: &str) -> Result<()> {
        self.write(&sheet::foot(summary));
        if let Err(error) = locked(&self.file).flush() {
            locked(&self.failed).get_or_insert(error);
        }
        match locked(&self.failed).take() {
            Some(error) => Err(error).with_context(|| unwritable(&self.path)),
            None => Ok(()),
        }
    }

    fn write(&self, text: &str) {
        if let Err(error) = locked(&self.file).write_all(text.as_bytes()) {
            locked(&self.failed).get_or_insert(error);
        }
    }
}

fn unwritable(path: &Path) -> String {
    format!("{}: cannot write the contact sheet: choose another file", path.display())
}

/// A panic elsewhere leaves what is kept here as it was.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn opened(path: &Path) -> Option<Small> {
    small(Scaled::new(photo::open(path).ok()?.to_srgb()), &[])
}

fn small(photo: Scaled, sightings: &[Sighting]) -> Option<Small> {
    let picture = picture::thumbnail(photo, sightings, SIDE);
    Some((thumbnail::jpeg(&picture)?, picture.dimensions()))
}
