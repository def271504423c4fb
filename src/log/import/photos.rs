//! Photos into the log: each once, in order of capture, many measured at a time.
//!
//! What a photo is and what it shows is asked of two functions, so that nothing here sees a pixel. First
//! every file is looked at (contents hash, time); what the log holds already and copies of one photo fall
//! away. The rest is measured on all cores in order of capture, and logged in that order, photo by photo:
//! an interrupted import loses the photos under way and no more, and goes on where it stopped. Memory
//! holds one line for each file and pixels only of the photos under way.

use std::collections::{BTreeMap, HashMap};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;

use chrono::{DateTime, FixedOffset};
use rayon::prelude::*;

use super::seen::Seen;
use crate::log::{Entry, Id, Loaded, Log, LogError, PhotoSource, Reading, Source, TornTail};
use crate::reading::Measurement;
use crate::terms::{Analyte, Flag};

/// What a look at a file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Looked {
    /// Content hash.
    pub hash: String,
    /// When it was taken.
    pub taken_at: DateTime<FixedOffset>,
    /// Doubts about that time.
    pub flags: Vec<Flag>,
}

/// A photo that is to be measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The file.
    pub path: PathBuf,
    /// What the look said.
    pub looked: Looked,
}

/// What measuring a photo gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Measured {
    /// The tank it belongs to.
    pub tank: String,
    /// Each value with the place it was measured at; the time is put in here.
    pub readings: Vec<(Measurement, PhotoSource)>,
    /// What could not be read of it, with the way to mend it.
    pub refused: Vec<String>,
}

/// What became of a photo.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Its readings are in the log.
    Logged {
        /// Their numbers.
        ids: Vec<Id>,
        /// What they say.
        entries: Vec<Entry>,
        /// What could not be read of it.
        refused: Vec<String>,
    },
    /// It was in the log before.
    Known,
    /// It is the same photo as another file of this import.
    Copy {
        /// That file.
        of: PathBuf,
    },
    /// No number could be had of it.
    Refused {
        /// Why, with the way to mend it.
        reason: String,
    },
}

/// A photo and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// The file.
    pub path: PathBuf,
    /// What became of it.
    pub outcome: Outcome,
}

/// The log that photos go into.
pub struct Target<'a> {
    /// The log.
    pub log: &'a Log,
    /// What has been read of it.
    pub view: &'a mut Loaded,
    /// The same, by contents.
    pub seen: &'a mut Seen,
    /// The moment of logging.
    pub now: &'a dyn Fn() -> DateTime<FixedOffset>,
}

/// Carries `paths` into the log; each photo is told to `report` as soon as its fate is sure.
///
/// # Errors
/// If the log cannot be read or written. A photo that cannot be used is no error.
pub fn import(
    paths: Vec<PathBuf>,
    mut target: Target<'_>,
    look: impl Fn(&std::path::Path) -> Result<Looked, String> + Sync,
    measure: impl Fn(&Job) -> Result<Measured, String> + Sync,
    mut report: impl FnMut(Done, Option<TornTail>),
) -> Result<(), LogError> {
    target.seen.catch_up(target.view);
    let looked: Vec<(PathBuf, Result<Looked, String>)> = paths
        .into_par_iter()
        .map(|path| {
            let looked = guarded(|| look(&path));
            (path, looked)
        })
        .collect();
    let jobs = choose(looked, target.seen, &mut report);
    let (sender, results) = mpsc::channel();
    let stop = AtomicBool::new(false);
    thread::scope(|scope| {
        let (jobs, stop, measure) = (&jobs, &stop, &measure);
        scope.spawn(move || {
            // A bridge hands the jobs out in their order; splitting the list would start in its middle.
            jobs.iter().enumerate().par_bridge().for_each_with(sender, |sender, (place, job)| {
                if !stop.load(Ordering::Relaxed) {
                    // The receiver is gone only after an error, and then nobody waits.
                    let _ = sender.send((place, guarded(|| measure(job))));
                }
            });
        });
        let written = write_in_order(jobs, results, &mut target, &mut report);
        stop.store(true, Ordering::Relaxed);
        written
    })
}

/// A fault of the program on one photo must not stop the rest.
fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
        Err("the program failed on this photo, which is a fault of the program and not of the photo: leave the photo out and report it".to_owned())
    })
}

/// Lets fall away what needs no measuring; the rest comes in order of capture.
fn choose(
    looked: Vec<(PathBuf, Result<Looked, String>)>,
    seen: &Seen,
    report: &mut impl FnMut(Done, Option<TornTail>),
) -> Vec<Job> {
    let mut jobs: Vec<Job> = Vec::new();
    let mut places: HashMap<String, PathBuf> = HashMap::new();
    for (path, looked) in looked {
        let outcome = match looked {
            Err(reason) => Outcome::Refused { reason },
            Ok(looked) if seen.has_photo(&looked.hash) => Outcome::Known,
            Ok(looked) => match places.get(&looked.hash) {
                Some(of) => Outcome::Copy { of: of.clone() },
                None => {
                    places.insert(looked.hash.clone(), path.clone());
                    jobs.push(Job { path, looked });
                    continue;
                }
            },
        };
        report(Done { path, outcome }, None);
    }
    jobs.sort_by(|a, b| (a.looked.taken_at, &a.path).cmp(&(b.looked.taken_at, &b.path)));
    jobs
}

/// Logs results in the order of the jobs, however they come in.
fn write_in_order(
    jobs: &[Job],
    results: mpsc::Receiver<(usize, Result<Measured, String>)>,
    target: &mut Target<'_>,
    report: &mut impl FnMut(Done, Option<TornTail>),
) -> Result<(), LogError> {
    let mut waiting = BTreeMap::new();
    let mut next = 0;
    for (place, result) in results {
        waiting.insert(place, result);
        while let Some(result) = waiting.remove(&next) {
            let job = &jobs[next];
            let (outcome, torn) = match result {
                Err(reason) => (Outcome::Refused { reason }, None),
                Ok(measured) => write(job, measured, target)?,
            };
            report(Done { path: job.path.clone(), outcome }, torn);
            next += 1;
        }
    }
    Ok(())
}

fn write(
    job: &Job,
    measured: Measured,
    target: &mut Target<'_>,
) -> Result<(Outcome, Option<TornTail>), LogError> {
    if measured.readings.is_empty() {
        return Ok((Outcome::Refused { reason: measured.refused.join("; ") }, None));
    }
    let parts = u32::try_from(measured.readings.len()).ok();
    let entries: Vec<(Analyte, Entry)> = measured
        .readings
        .into_iter()
        .map(|(mut measurement, mut source)| {
            source.parts = parts;
            let analyte = measurement.analyte;
            measurement.taken_at = job.looked.taken_at;
            measurement.flags.extend(&job.looked.flags);
            measurement.flags.sort_unstable();
            measurement.flags.dedup();
            let source = Source::Photo(source);
            let tank = measured.tank.clone();
            (analyte, Entry::Reading(Reading { tank, measurement, source, note: String::new() }))
        })
        .collect();
    let (hash, seen) = (&job.looked.hash, &mut *target.seen);
    let mut missing = Vec::new();
    let written = target.log.append_chosen(target.view, (target.now)(), |loaded| {
        seen.catch_up(loaded);
        // Another import may have come first since the look, or an earlier one been cut short.
        let wanted = entries.into_iter().filter(|(analyte, _)| !seen.has_part(hash, *analyte));
        missing.extend(wanted.map(|(_, entry)| entry));
        Ok(missing.clone())
    });
    match written {
        Ok(appended) if appended.ids.is_empty() => Ok((Outcome::Known, appended.torn)),
        Ok(appended) => {
            let (ids, entries, refused) = (appended.ids, missing, measured.refused);
            let outcome = Outcome::Logged { ids, entries, refused };
            Ok((outcome, appended.torn))
        }
        Err(error @ LogError::Invalid { .. }) => Ok((Outcome::Refused { reason: error.to_string() }, None)),
        Err(error) => Err(error),
    }
}
