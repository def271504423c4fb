//! The end of the file after a crash: recognised, kept aside, never in the way.
//!
//! A line counts once its line end is written. What stands behind the last line end was never reported
//! as written: it is moved to a file of its own, unless it is a whole record that only lost its line end
//! (an editor may do that), which is completed instead.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::{LogError, wire};

/// How much is read at a time when searching backwards.
const BLOCK: u64 = 64 * 1024;

/// What was found behind the last line end, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TornTail {
    /// Moved to a file of its own.
    SetAside {
        /// That file.
        file: PathBuf,
        /// How many bytes.
        bytes: u64,
    },
    /// A whole record without its line end, which was added.
    Completed,
}

/// Brings the end of the log in order; the caller holds the lock.
pub(super) fn mend(log: &mut File, path: &Path) -> Result<Option<TornTail>, LogError> {
    let fail = |what| move |source| LogError::io(what, path, source);
    let length = log.metadata().map_err(fail("look at"))?.len();
    let start = last_line_start(log, length).map_err(fail("read"))?;
    if start == length {
        return Ok(None);
    }
    let tail = read_from(log, start).map_err(fail("read"))?;
    if wire::from_line(&tail).is_ok() {
        log.write_all(b"\n").and_then(|()| log.sync_data()).map_err(fail("mend"))?;
        return Ok(Some(TornTail::Completed));
    }
    let file = set_aside(path, start, &tail)?;
    log.set_len(start).and_then(|()| log.sync_all()).map_err(fail("mend"))?;
    Ok(Some(TornTail::SetAside { file, bytes: tail.len() as u64 }))
}

/// Where the bytes behind the last line end begin; `length` if there are none.
pub(super) fn last_line_start(log: &mut File, length: u64) -> io::Result<u64> {
    let mut end = length;
    while end > 0 {
        let start = end.saturating_sub(BLOCK);
        let block = read_exact_at(log, start, end - start)?;
        if let Some(newline) = block.iter().rposition(|&byte| byte == b'\n') {
            return Ok(start + newline as u64 + 1);
        }
        end = start;
    }
    Ok(0)
}

/// The bytes from `start` to the end.
pub(super) fn read_from(log: &mut File, start: u64) -> io::Result<Vec<u8>> {
    log.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::new();
    log.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Exactly `count` bytes from `start`.
pub(super) fn read_exact_at(log: &mut File, start: u64, count: u64) -> io::Result<Vec<u8>> {
    log.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::new();
    log.take(count).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Writes the torn bytes to a new file beside the log, safe on disk before the log is cut.
fn set_aside(log: &Path, offset: u64, tail: &[u8]) -> Result<PathBuf, LogError> {
    for attempt in 1..=u32::MAX {
        let path = log.with_file_name(format!("log-torn-{offset}-{attempt}.txt"));
        let mut file = match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => continue,
            Err(error) => return Err(LogError::io("set a torn line aside in", path, error)),
        };
        return match file.write_all(tail).and_then(|()| file.sync_all()) {
            Ok(()) => Ok(path),
            Err(error) => {
                // A partial copy would be mistaken for the whole.
                let _ = std::fs::remove_file(&path);
                Err(LogError::io("set a torn line aside in", path, error))
            }
        };
    }
    Err(LogError::io("set a torn line aside beside", log, io::ErrorKind::AlreadyExists.into()))
}
