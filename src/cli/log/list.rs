//! Listing what counts.

use std::io::{self, BufWriter, Write};

use anyhow::Result;
use chrono::{DateTime, FixedOffset};
use comfy_table::{ContentArrangement, Table, presets};

use super::filter;
use crate::cli::entry_line::EntryLine;
use crate::cli::{Outcome, Settings, logging};
use crate::log::{Entry, Id, Log, Record};
use crate::terms::text::printable;

/// Entries that are listed for people unless more are asked for.
const SHOWN: usize = 20;

/// Arguments of the list.
#[derive(Debug, clap::Args)]
pub struct ListArgs {
    #[command(flatten)]
    filter: filter::FilterArgs,

    /// Only the last N entries by time of logging [default: 20; with --json all]
    #[arg(long, value_name = "N")]
    last: Option<usize>,

    /// All entries
    #[arg(long, conflicts_with = "last")]
    all: bool,

    /// What was withdrawn instead of what counts
    #[arg(long)]
    withdrawn: bool,
}

/// One entry to be listed.
struct Item<'a> {
    id: Id,
    logged_at: DateTime<FixedOffset>,
    entry: &'a Entry,
    corrected: bool,
}

/// Lists readings and events.
pub fn run(args: &ListArgs, settings: &Settings) -> Result<Outcome> {
    let filter = args.filter.resolve()?;
    let log = Log::at(&settings.home);
    let limit = args.last.or((!settings.json && !args.all).then_some(SHOWN));
    if let Some(limit) = limit.filter(|_| !args.withdrawn && !settings.json) {
        let records = log.last(limit, |entry| filter.accepts(entry))?;
        let mut items: Vec<Item> = records.iter().map(item).collect();
        items.sort_by_key(|item| item.entry.at());
        let outcome = unless_closed(print_table(&items))?;
        if items.len() == limit && args.last.is_none() {
            eprintln!("these are the last {limit} by time of logging; --all lists everything");
        }
        return Ok(outcome);
    }
    let loaded = log.load()?;
    logging::say_problems(loaded.problems());
    let live: Box<dyn Iterator<Item = _>> =
        if args.withdrawn { Box::new(loaded.withdrawn()) } else { Box::new(loaded.live()) };
    let mut items: Vec<Item> = live
        .filter(|live| filter.accepts(live.entry))
        .map(|live| Item { corrected: live.is_corrected(), entry: live.entry, ..item(live.record) })
        .collect();
    items.drain(..items.len().saturating_sub(limit.unwrap_or(usize::MAX)));
    if settings.json {
        return unless_closed(print_json(&items));
    }
    items.sort_by_key(|item| item.entry.at());
    unless_closed(print_table(&items))
}

/// Who reads no further wants no more: that is no failure.
fn unless_closed(printed: io::Result<()>) -> Result<Outcome> {
    match printed {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(Outcome::Done),
    }
}

const fn item(record: &Record) -> Item<'_> {
    Item { id: record.id, logged_at: record.logged_at, entry: &record.entry, corrected: false }
}

fn print_json(items: &[Item]) -> io::Result<()> {
    let mut out = BufWriter::new(io::stdout().lock());
    for item in items {
        if let Some(line) = EntryLine::of(item.id, item.logged_at, item.entry, item.corrected) {
            serde_json::to_writer(&mut out, &line)?;
            out.write_all(b"\n")?;
        }
    }
    out.flush()
}

fn print_table(items: &[Item]) -> io::Result<()> {
    if items.is_empty() {
        eprintln!("nothing is logged that fits");
        return Ok(());
    }
    let mut table = Table::new();
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.load_style(presets::NOTHING).set_header(["#", "when", "tank", "what", "from", "doubts and notes"]);
    for item in items {
        let Some(at) = item.entry.at() else { continue };
        let (from, remarks) = remarks(item.entry);
        table.add_row([
            item.id.to_string(),
            at.format("%Y-%m-%d %H:%M %:z").to_string(),
            printable(item.entry.tank().unwrap_or_default()).into_owned(),
            logging::contents(item.entry),
            from.to_owned(),
            printable(&remarks).into_owned(),
        ]);
    }
    let mut out = io::stdout().lock();
    writeln!(out, "{}", table.trim_fmt())
}

/// Where an entry comes from, and what there is to say beside its value.
fn remarks(entry: &Entry) -> (&'static str, String) {
    match entry {
        Entry::Reading(reading) => {
            let flags = reading.measurement.flags.iter().map(|flag| flag.cause().to_owned());
            let note = (!reading.note.is_empty()).then(|| reading.note.clone());
            (reading.source.word(), flags.chain(note).collect::<Vec<_>>().join("; "))
        }
        Entry::Event(event) => ("", event.note.clone()),
        _ => ("", String::new()),
    }
}
