//! Tables and tank files, one after the other, with a report on each.

use std::path::Path;

use anyhow::Result;
use chrono::Local;
use serde_json::json;

use super::files::{Candidate, Kind};
use crate::cli::{Settings, clock, logging};
use crate::log::import::csv::{self, Imported};
use crate::log::import::facts::{self, FactsError};
use crate::log::import::seen::{Fresh, Seen};
use crate::log::{Entry, Loaded, Log};
use crate::terms::TankFacts;
use crate::terms::text::{printable, shown};

/// The largest table or tank file that is read, bytes.
const MAX_BYTES: u64 = 256 << 20;
/// Rows that are named one by one for people.
const SHOWN: usize = 20;

/// Carries files into the log.
pub struct Importer<'a> {
    log: &'a Log,
    view: &'a mut Loaded,
    seen: Seen,
    settings: &'a Settings,
    troubled: bool,
}

impl<'a> Importer<'a> {
    /// An importer into `log`, of which `view` has been read.
    pub fn new(log: &'a Log, view: &'a mut Loaded, settings: &'a Settings) -> Self {
        Self { log, view, seen: Seen::default(), settings, troubled: false }
    }

    /// Whether something of the last file was refused.
    pub const fn troubled(&self) -> bool {
        self.troubled
    }

    /// Imports one file; whether anything in it was usable.
    pub fn import(&mut self, file: &Candidate) -> Result<bool> {
        self.troubled = false;
        let understood = read(&file.path).map_err(Unusable::Bad).and_then(|bytes| understand(file, &bytes));
        match understood {
            Ok(imported) => self.take(&file.path, &imported),
            // A folder may hold tables and objects of other programs.
            Err(Unusable::OtherKind(why)) if !file.named => {
                eprintln!("note: {} was passed over: {}", shown(&file.path), printable(&why));
                Ok(false)
            }
            Err(Unusable::OtherKind(why) | Unusable::Bad(why)) => {
                self.troubled = true;
                refuse(&file.path, &why, self.settings)?;
                Ok(false)
            }
        }
    }

    fn take(&mut self, path: &Path, imported: &Imported) -> Result<bool> {
        let mut fresh = Fresh::default();
        let seen = &mut self.seen;
        let appended = self.log.append_chosen(self.view, clock::now(), |loaded| {
            seen.catch_up(loaded);
            fresh = match imported.entries.as_slice() {
                [Entry::Tank(facts)] => fresh_facts(loaded, facts),
                entries => seen.fresh(entries),
            };
            Ok(fresh.entries.clone())
        })?;
        logging::say_torn(appended.torn.as_ref());
        self.say_beside(path, &fresh);
        self.troubled = !imported.rejected.is_empty();
        report(path, imported, &fresh, self.settings)?;
        Ok(!imported.entries.is_empty() || imported.rejected.is_empty())
    }
}

impl Importer<'_> {
    /// Says which entries may be meant for others that count: an edited row is a row beside the old one.
    fn say_beside(&self, path: &Path, fresh: &Fresh) {
        let beside: Vec<_> = fresh.beside.iter().filter(|(_, id)| !self.view.is_withdrawn(*id)).collect();
        for (entry, id) in beside.iter().take(SHOWN) {
            let what = logging::contents(entry);
            eprintln!(
                "{}: warning: {what} is added beside entry {id} of the same tank and time: if it is meant for that one, `tintwell log withdraw {id}`",
                shown(path)
            );
        }
        if beside.len() > SHOWN {
            eprintln!("{}: warning: and {} more such entries", shown(path), beside.len() - SHOWN);
        }
    }
}

/// Why nothing of a file can be used.
enum Unusable {
    /// It is a file of something else.
    OtherKind(String),
    /// It is damaged.
    Bad(String),
}

fn understand(file: &Candidate, bytes: &[u8]) -> Result<Imported, Unusable> {
    match file.kind {
        Kind::Facts => {
            let (facts, assumed) = facts::read(bytes).map_err(|error| match error {
                FactsError::OtherKind => Unusable::OtherKind(error.to_string()),
                FactsError::Bad(_) => Unusable::Bad(error.to_string()),
            })?;
            Ok(Imported { entries: vec![Entry::Tank(facts)], assumed, ..Imported::default() })
        }
        _ => {
            let name = file.path.file_name().map(|name| name.to_string_lossy().into_owned());
            let mut imported = csv::read(bytes, &name.unwrap_or_default(), &Local)
                .map_err(|error| Unusable::OtherKind(error.to_string()))?;
            doubt_times(&mut imported);
            Ok(imported)
        }
    }
}

/// Rows of a day that has not been yet, or long before, are taken and told.
fn doubt_times(imported: &mut Imported) {
    let now = clock::now();
    for (entry, line) in imported.entries.iter().zip(&imported.lines) {
        let odd = entry.at().and_then(|at| clock::doubt(at, now));
        imported.odd.extend(odd.map(|why| (*line, why)));
    }
    imported.odd.sort_by_key(|(line, _)| *line);
}

/// A tank's facts are new if they change what is known.
fn fresh_facts(loaded: &Loaded, facts: &TankFacts) -> Fresh {
    if loaded.tanks().contains(&facts.tank.as_str()) && !loaded.would_change(facts) {
        return Fresh { known: 1, ..Fresh::default() };
    }
    Fresh { entries: vec![Entry::Tank(facts.clone())], ..Fresh::default() }
}

fn read(path: &Path) -> Result<Vec<u8>, String> {
    let length = std::fs::metadata(path).map_err(|error| format!("cannot be read: {error}"))?.len();
    if length > MAX_BYTES {
        return Err(format!(
            "has {} MB, more than the {} MB that are read: split it",
            length >> 20,
            MAX_BYTES >> 20
        ));
    }
    std::fs::read(path).map_err(|error| format!("cannot be read: {error}"))
}

/// Says that nothing of a file could be used.
pub fn refuse(path: &Path, why: &str, settings: &Settings) -> Result<()> {
    if settings.json {
        println!(
            "{}",
            serde_json::to_string(
                &json!({"file": path.display().to_string(), "status": "refused", "reason": why})
            )?
        );
    }
    eprintln!("{}: {}", shown(path), printable(why));
    Ok(())
}

fn report(path: &Path, imported: &Imported, fresh: &Fresh, settings: &Settings) -> Result<()> {
    if settings.json {
        let rows = |rows: &[(u64, String)]| -> Vec<_> {
            rows.iter().map(|(line, why)| json!({"line": line, "why": why})).collect()
        };
        let line = json!({
            "file": path.display().to_string(),
            "status": if fresh.entries.is_empty() { "nothing_new" } else { "imported" },
            "added": fresh.entries.len(),
            "known": fresh.known,
            "rejected": rows(&imported.rejected),
            "odd": rows(&imported.odd),
            "assumed": imported.assumed,
        });
        println!("{}", serde_json::to_string(&line)?);
    } else {
        println!(
            "{}: {} added, {} known already, {} rejected",
            shown(path),
            fresh.entries.len(),
            fresh.known,
            imported.rejected.len()
        );
    }
    for assumed in &imported.assumed {
        eprintln!("{}: note: {}", shown(path), printable(assumed));
    }
    say_rows(path, "rejected", &imported.rejected);
    say_rows(path, "warning", &imported.odd);
    Ok(())
}

fn say_rows(path: &Path, word: &str, rows: &[(u64, String)]) {
    for (line, why) in rows.iter().take(SHOWN) {
        eprintln!("{}:{line}: {word}: {}", shown(path), printable(why));
    }
    if rows.len() > SHOWN {
        eprintln!("{}: {word}: and {} more rows; --json lists all", shown(path), rows.len() - SHOWN);
    }
}
