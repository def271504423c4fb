//! Photos: what is said of each, of all, and of what to mend; and waiting for more.

use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use anyhow::Result;
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;

use super::files::{self, Kind};
use super::sheet::Sheet;
use super::time::Fallback;
use crate::cli::{Settings, clock, logging};
use crate::log::import::photos::{self, Done, Job, Measured, Outcome, Target};
use crate::log::import::seen::Seen;
use crate::log::import::watch::{Stamp, Watch};
use crate::log::{Entry, Loaded, Log, TornTail};
use crate::terms::text::{printable, shown};

/// How often a watched folder is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// How many photos ended how, and what is to be mended.
#[derive(Debug, Default)]
pub struct Summary {
    logged: usize,
    readings: usize,
    known: usize,
    copies: usize,
    /// Refused photos and parts of photos: the file, and why.
    pub mend: Vec<(PathBuf, String)>,
}

impl Summary {
    /// Whether some photo was of use: logged now or before.
    pub const fn has_used_any(&self) -> bool {
        self.logged + self.known + self.copies > 0
    }
}

/// Carries photos into the log.
pub struct Importer<'a, M> {
    /// The log.
    pub log: &'a Log,
    /// What has been read of it.
    pub view: &'a mut Loaded,
    /// The same by contents.
    pub seen: Seen,
    /// Where a time comes from that the photo does not say.
    pub fallback: &'a Fallback,
    /// What measures a photo.
    pub measure: M,
    /// The contact sheet, if one is wanted.
    pub sheet: Option<&'a Sheet>,
    /// Global settings.
    pub settings: &'a Settings,
}

impl<M: Fn(&Job) -> Result<Measured, String> + Sync> Importer<'_, M> {
    /// Imports these photos and says what became of each.
    pub fn import(&mut self, paths: Vec<PathBuf>) -> Result<Summary> {
        let bar = progress(paths.len());
        let mut summary = Summary::default();
        let settings = self.settings;
        let target = Target { log: self.log, view: self.view, seen: &mut self.seen, now: &clock::now };
        let (fallback, sheet) = (self.fallback, self.sheet);
        photos::import(
            paths,
            target,
            |path| fallback.look(path),
            &self.measure,
            |done, torn| {
                bar.inc(1);
                bar.suspend(|| say(&done, torn.as_ref(), settings));
                sheet.inspect(|sheet| sheet.add(&done));
                summary.take(done);
            },
        )?;
        bar.finish_and_clear();
        Ok(summary)
    }

    /// Imports what is in the folders and goes on with what arrives, until the program is ended.
    pub fn watch(&mut self, folders: &[PathBuf]) -> Result<()> {
        eprintln!("watching for photos; end with Ctrl-C, nothing is lost by it");
        let mut watch = Watch::default();
        loop {
            let found = files::find(folders);
            let photos = found.files.into_iter().filter(|file| file.kind == Kind::Photo);
            let listing = photos.filter_map(|file| Stamp::of(&file.path).map(|stamp| (file.path, stamp)));
            let rested = watch.look(listing);
            if !rested.is_empty() {
                let summary = self.import(rested)?;
                summary.say(self.settings);
            }
            thread::sleep(LOOK_EVERY);
        }
    }
}

/// A bar on standard error; none where that is no terminal.
fn progress(count: usize) -> ProgressBar {
    let bar = ProgressBar::new(count as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len} photos, {eta} to go") {
        bar.set_style(style);
    }
    bar
}

fn say(done: &Done, torn: Option<&TornTail>, settings: &Settings) {
    logging::say_torn(torn);
    if settings.json {
        println!("{}", line(done));
        return;
    }
    if let Outcome::Logged { ids, entries, .. } = &done.outcome {
        for (&id, entry) in ids.iter().zip(entries) {
            println!("{}: logged {}", shown(&done.path), logging::phrase(id, entry));
        }
    }
}

fn line(done: &Done) -> serde_json::Value {
    let photo = done.path.display().to_string();
    match &done.outcome {
        Outcome::Logged { ids, entries, refused } => json!({
            "photo": photo, "status": "logged", "ids": ids,
            "tank": entries.first().and_then(Entry::tank),
            "taken_at": entries.first().and_then(Entry::at),
            "refused": refused,
        }),
        Outcome::Known => json!({"photo": photo, "status": "known"}),
        Outcome::Copy { of } => json!({"photo": photo, "status": "copy", "of": of.display().to_string()}),
        Outcome::Refused { reason } => json!({"photo": photo, "status": "refused", "reason": reason}),
    }
}

impl Summary {
    fn take(&mut self, done: Done) {
        match done.outcome {
            Outcome::Logged { ids, refused, .. } => {
                self.logged += 1;
                self.readings += ids.len();
                self.mend.extend(refused.into_iter().map(|why| (done.path.clone(), why)));
            }
            Outcome::Known => self.known += 1,
            Outcome::Copy { .. } => self.copies += 1,
            Outcome::Refused { reason } => self.mend.push((done.path, reason)),
        }
    }

    /// How many ended how.
    pub fn text(&self) -> String {
        format!(
            "photos: {} logged ({} readings), {} known already, {} copies of others, {} to mend",
            self.logged,
            self.readings,
            self.known,
            self.copies,
            self.mend.len()
        )
    }

    /// Says how many ended how, and what is to be mended.
    pub fn say(&self, settings: &Settings) {
        let text = self.text();
        if settings.json {
            eprintln!("{text}");
        } else {
            println!("{text}");
        }
        for (path, why) in &self.mend {
            eprintln!("{}: {}", shown(path), printable(why));
        }
    }
}
