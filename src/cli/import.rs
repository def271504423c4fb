//! `import`: tables, tank files and photos into the log; safe to repeat.

use std::path::PathBuf;

use anyhow::Result;

use super::{Outcome, Settings, logging};
use crate::log::{Loaded, Log};

mod files;
mod tables;

use files::{Found, Kind};

/// Arguments of `import`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Tables of readings or events (CSV), tank files (JSON), photos, or folders of them
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
}

/// What came of the files so far.
#[derive(Debug, Default)]
struct Tally {
    done: usize,
    troubled: usize,
}

impl Tally {
    const fn outcome(&self) -> Outcome {
        match (self.done, self.troubled) {
            (_, 0) => Outcome::Done,
            (0, _) => Outcome::Nothing,
            _ => Outcome::Partly,
        }
    }
}

/// Imports everything that is not in the log yet.
///
/// # Errors
/// If the log cannot be read or written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let log = Log::at(&settings.home);
    let mut view = log.load()?;
    logging::say_problems(&view);
    let mut tally = Tally::default();
    let found = files::find(&args.paths);
    for (path, why) in &found.unreadable {
        tables::refuse(path, why, settings)?;
        tally.troubled += 1;
    }
    import_tables(&found, &log, &mut view, settings, &mut tally)?;
    if !found.passed_over.is_empty() {
        eprintln!(
            "note: {} files in folders are of other kinds and were passed over",
            found.passed_over.len()
        );
    }
    Ok(tally.outcome())
}

fn import_tables(
    found: &Found,
    log: &Log,
    view: &mut Loaded,
    settings: &Settings,
    tally: &mut Tally,
) -> Result<()> {
    let mut importer = tables::Importer::new(log, view, settings);
    for file in found.files.iter().filter(|file| file.kind != Kind::Photo) {
        if importer.import(file)? {
            tally.done += 1;
        }
        if importer.troubled() {
            tally.troubled += 1;
        }
    }
    Ok(())
}
