//! When a photo was taken: from the photo, from its name, or from the keeper.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;
use std::sync::Mutex;

use chrono::{DateTime, FixedOffset, Local, NaiveDate};

use crate::log::import::name_time::{self, NameTime};
use crate::log::import::photos::Looked;
use crate::log::{content_hash, when};
use crate::photo::{self, CaptureTime};
use crate::terms::Flag;
use crate::terms::text::shown;

/// What to do about photos that do not say when they were taken.
#[derive(Debug)]
pub struct Fallback {
    /// The time given for them.
    pub at: Option<DateTime<FixedOffset>>,
    /// Whether the file's time of change may stand for it.
    pub file_time: bool,
    /// Whether the keeper can be asked; one question at a time.
    ask: Option<Mutex<()>>,
}

impl Fallback {
    /// With these options; the keeper is asked only in a terminal, and not by another program.
    pub fn new(at: Option<DateTime<FixedOffset>>, file_time: bool, json: bool) -> Self {
        let can_ask = !json && io::stdin().is_terminal() && io::stderr().is_terminal();
        Self { at, file_time, ask: can_ask.then(Mutex::default) }
    }

    /// Looks at a photo: its contents hash and its time.
    ///
    /// # Errors
    /// If it cannot be read, or its time cannot be found.
    pub fn look(&self, path: &Path) -> Result<Looked, String> {
        let bytes = photo::read_file(path).map_err(|error| error.to_string())?;
        let captured = photo::capture_time(&bytes).map_err(|error| error.to_string())?;
        let (taken_at, flags) = self.time(path, captured).ok_or(
            "the photo does not say when it was taken, and neither does its name or its folder's: give the time with --at, put it into the name like 2031-03-04 18.05.jpg, or take the file's own time with --file-time",
        )?;
        Ok(Looked { hash: content_hash(&bytes), taken_at, flags })
    }

    fn time(&self, path: &Path, captured: CaptureTime) -> Option<(DateTime<FixedOffset>, Vec<Flag>)> {
        let local = |clock| when::resolve(clock, &Local).map(|when| when.at);
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let told = name_time::parse(&name).or_else(|| Some(NameTime::Day(day_of_folder(path)?)));
        match (captured, told) {
            (CaptureTime::Instant(instant), _) => Some((instant, Vec::new())),
            (CaptureTime::LocalClock(clock), _) | (CaptureTime::Unknown, Some(NameTime::Clock(clock))) => {
                Some((local(clock)?, vec![Flag::TimeZoneUnknown]))
            }
            (CaptureTime::Unknown, Some(NameTime::Day(day))) => {
                Some((local(day.and_hms_opt(12, 0, 0)?)?, vec![Flag::TimeUnknown]))
            }
            (CaptureTime::Unknown, None) => self.given(path),
        }
    }

    fn given(&self, path: &Path) -> Option<(DateTime<FixedOffset>, Vec<Flag>)> {
        if let Some(at) = self.at {
            return Some((at, Vec::new()));
        }
        if self.file_time {
            let changed = std::fs::metadata(path).ok()?.modified().ok()?;
            let at = DateTime::<Local>::from(changed).fixed_offset();
            eprintln!("note: {}: the time of the file was taken, {}", shown(path), at.to_rfc3339());
            return Some((at, vec![Flag::TimeUnknown]));
        }
        self.ask.as_ref().and_then(|turn| ask(path, turn)).map(|at| (at, Vec::new()))
    }
}

/// The day that the folder of a photo is named after.
fn day_of_folder(path: &Path) -> Option<NaiveDate> {
    name_time::folder_day(&path.parent()?.file_name()?.to_string_lossy())
}

fn ask(path: &Path, turn: &Mutex<()>) -> Option<DateTime<FixedOffset>> {
    // A poisoned turn is still a turn.
    let _turn = turn.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    loop {
        eprint!("When was {} taken? (like 2031-03-04 18:05; nothing to leave it out) ", shown(path));
        io::stderr().flush().ok()?;
        let mut line = String::new();
        if io::stdin().lock().read_line(&mut line).ok()? == 0 || line.trim().is_empty() {
            return None;
        }
        match when::parse(&line, &Local) {
            Ok(when) => return Some(when.at),
            Err(error) => eprintln!("{error}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixture(name: &str) -> std::path::PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photo").join(name)
    }

    fn fallback(at: Option<&str>, file_time: bool) -> Fallback {
        let at = at.map(|text| DateTime::parse_from_rfc3339(text).unwrap());
        Fallback { at, file_time, ask: None }
    }

    #[test]
    fn a_photo_without_a_time_is_refused_unless_one_is_given() {
        let photo = fixture("zero_date.jpg");
        let reason = fallback(None, false).look(&photo).unwrap_err();
        assert!(reason.contains("--at") && reason.contains("--file-time"), "{reason}");
        let at = "2031-03-04T18:05:00+01:00";
        let looked = fallback(Some(at), false).look(&photo).unwrap();
        assert_eq!((looked.taken_at.to_rfc3339().as_str(), looked.flags), (at, vec![]));
        assert_eq!(fallback(None, true).look(&photo).unwrap().flags, [Flag::TimeUnknown]);
    }

    #[test]
    fn a_name_says_when_and_the_doubt_is_flagged() {
        let folder = tempfile::tempdir().unwrap();
        for (name, clock, flag) in [
            ("IMG_20310304_180512.jpg", "2031-03-04 18:05:12", Flag::TimeZoneUnknown),
            ("2031-03-04.jpg", "2031-03-04 12:00:00", Flag::TimeUnknown),
            ("2031-03-05/IMG_7.jpg", "2031-03-05 12:00:00", Flag::TimeUnknown),
            ("2031-03-05/IMG_20310304_180512.jpg", "2031-03-04 18:05:12", Flag::TimeZoneUnknown),
        ] {
            let photo = folder.path().join(name);
            std::fs::create_dir_all(photo.parent().unwrap()).unwrap();
            std::fs::copy(fixture("zero_date.jpg"), &photo).unwrap();
            let looked = fallback(None, false).look(&photo).unwrap();
            assert_eq!(
                (looked.taken_at.naive_local().to_string().as_str(), looked.flags),
                (clock, vec![flag])
            );
        }
    }

    /// Two ways to the same time: with the pixels and without.
    #[test]
    fn the_quick_look_finds_the_time_that_decoding_finds() {
        let mut compared = 0;
        for entry in std::fs::read_dir(fixture("")).unwrap() {
            let bytes = std::fs::read(entry.unwrap().path()).unwrap();
            if let Ok(photo) = photo::from_bytes(&bytes) {
                assert_eq!(photo::capture_time(&bytes).unwrap(), photo.captured);
                compared += usize::from(photo.captured != CaptureTime::Unknown);
            }
        }
        assert!(compared >= 3, "{compared} fixtures with a time");
    }

    #[test]
    fn what_is_no_photo_is_refused_for_that_and_not_for_its_time() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("x.jpg");
        std::fs::write(&file, "words").unwrap();
        let reason = fallback(None, false).look(&file).unwrap_err();
        assert!(reason.contains("text file") && !reason.contains("--at"), "{reason}");
    }
}
