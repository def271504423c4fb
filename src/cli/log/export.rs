//! Writing the log for other programs.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

use anyhow::{Context, Result};
use clap::ValueEnum;

use super::filter;
use crate::cli::entry_line::EntryLine;
use crate::cli::{Outcome, Settings, logging};
use crate::log::{Entry, Live, Log, table};

/// What to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// Readings that count, as CSV that `import` takes
    Readings,
    /// Events that count, as CSV that `import` takes
    Events,
    /// Readings and events that count, one JSON object a line
    Json,
}

/// Arguments of `log export`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to write
    what: What,

    /// Where to [default: standard output]
    #[arg(long, short, value_name = "FILE")]
    out: Option<PathBuf>,

    #[command(flatten)]
    filter: filter::FilterArgs,
}

/// Writes what counts.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let filter = args.filter.resolve()?;
    let loaded = Log::at(&settings.home).load()?;
    logging::say_problems(loaded.problems());
    let mut wanted: Vec<Live> = loaded.live().filter(|live| filter.accepts(live.entry)).collect();
    wanted.sort_by_key(|live| live.entry.at());
    let Some(path) = &args.out else {
        write(args.what, &wanted, io::stdout().lock())?;
        return Ok(Outcome::Done);
    };
    // Written beside and moved into place, so that an old export is not lost to a failed one.
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(std::path::Path::new("."));
    let doing = || format!("cannot write {}", path.display());
    let mut file = tempfile::NamedTempFile::new_in(folder).with_context(doing)?;
    write(args.what, &wanted, file.as_file_mut()).with_context(doing)?;
    let file: File = file.persist(path).with_context(doing)?;
    file.sync_all().with_context(doing)?;
    Ok(Outcome::Done)
}

fn write(what: What, wanted: &[Live], out: impl Write) -> Result<()> {
    let mut out = BufWriter::new(out);
    match what {
        What::Readings => {
            let readings = wanted.iter().filter_map(|live| match live.entry {
                Entry::Reading(reading) => Some(reading),
                _ => None,
            });
            table::write_readings(readings, &mut out)?;
        }
        What::Events => {
            let events = wanted.iter().filter_map(|live| match live.entry {
                Entry::Event(event) => Some(event),
                _ => None,
            });
            table::write_events(events, &mut out)?;
        }
        What::Json => {
            for live in wanted {
                let record = live.record;
                let line = EntryLine::of(record.id, record.logged_at, live.entry, live.is_corrected());
                serde_json::to_writer(&mut out, &line)?;
                out.write_all(b"\n")?;
            }
        }
    }
    Ok(out.flush()?)
}
