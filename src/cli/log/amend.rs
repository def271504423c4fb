//! Correcting, withdrawing and restoring: new lines that refer to earlier ones.

use anyhow::{Result, bail};

use crate::cli::{Outcome, Settings, add, clock, event, logging};
use crate::log::record::{Amount, Change, Correction, Value, Verdict};
use crate::log::{Entry, Id, Live, Loaded, Log, LogError, check_name, quantity};
use crate::math::digits;
use crate::reading::Status;
use crate::terms::text::printable;

/// Arguments of `log correct`.
#[derive(Debug, clap::Args)]
pub struct Correct {
    /// The entry's number
    #[arg(value_name = "NUMBER")]
    id: Id,

    /// What it should have said, e.g. nitrite=0.5 or water_change=30
    #[arg(value_name = "WORD=VALUE")]
    contents: Option<String>,

    /// The right tank
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,

    /// The right time
    #[arg(long, value_name = "TIME")]
    at: Option<String>,

    /// Another note
    #[arg(long)]
    note: Option<String>,

    /// Why it is corrected
    #[arg(long, default_value = "")]
    reason: String,
}

/// Arguments of `log withdraw` and `log restore`.
#[derive(Debug, clap::Args)]
pub struct Amend {
    /// Numbers of entries
    #[arg(required = true, value_name = "NUMBER")]
    ids: Vec<Id>,

    /// Why
    #[arg(long, default_value = "")]
    reason: String,
}

/// Arguments of `log history`.
#[derive(Debug, clap::Args)]
pub struct History {
    /// The entry's number
    #[arg(value_name = "NUMBER")]
    id: Id,
}

/// Corrects one entry.
pub fn correct(args: &Correct, settings: &Settings) -> Result<Outcome> {
    let log = Log::at(&settings.home);
    let loaded = log.load()?;
    let live = loaded.find(args.id)?;
    let set = change(args, &live)?;
    let entry = Entry::Correction(Correction { of: args.id, set, reason: args.reason.clone() });
    append(&log, &[entry])?;
    say(&log.load()?, args.id, "now says", settings)
}

fn change(args: &Correct, live: &Live) -> Result<Change> {
    let mut set = Change { tank: args.tank.clone(), note: args.note.clone(), ..Change::default() };
    if let Some(tank) = &args.tank {
        check_name(tank).map_err(anyhow::Error::msg)?;
    }
    if let Some(at) = &args.at {
        let at = clock::at_or_now(Some(at))?;
        logging::warn(clock::doubt(at, clock::now()));
        set.at = Some(at);
    }
    match (live.entry, &args.contents) {
        (Entry::Reading(_) | Entry::Event(_), None) => {}
        (Entry::Reading(_), Some(text)) => {
            let (analyte, typed) = add::value(text)?;
            let (Status::Read, Some(value), None) = (typed.status, typed.value, typed.low) else {
                bail!("a correction takes a plain value: withdraw the entry and add {text:?} instead");
            };
            logging::warn(quantity::doubt(analyte, value));
            set.reading = Some(Value { analyte, value });
        }
        (Entry::Event(_), Some(text)) => {
            let (kind, amount) = event::deed(text)?;
            logging::warn(amount.and_then(|amount| quantity::doubt_amount(kind, amount)));
            set.event = Some(Amount { kind, amount });
        }
        (other, _) => {
            bail!("entry {} is a {}: only readings and events are corrected", args.id, other.kind())
        }
    }
    if set == Change::default() {
        bail!("nothing to correct is given: add what it should have said, or --tank, --at or --note");
    }
    Ok(set)
}

/// Withdraws entries.
pub fn withdraw(args: &Amend, settings: &Settings) -> Result<Outcome> {
    verdicts(args, settings, false)
}

/// Restores entries.
pub fn restore(args: &Amend, settings: &Settings) -> Result<Outcome> {
    verdicts(args, settings, true)
}

fn verdicts(args: &Amend, settings: &Settings, counts: bool) -> Result<Outcome> {
    let log = Log::at(&settings.home);
    let loaded = log.load()?;
    let mut entries = Vec::new();
    for &of in &args.ids {
        let live = loaded.find(of)?;
        if live.entry.refers_to().is_some() {
            bail!("entry {of} is itself a {}: give the number of the entry it refers to", live.entry.kind());
        }
        if loaded.is_withdrawn(of) != counts {
            eprintln!("note: {of} {} already", if counts { "counts" } else { "is withdrawn" });
            continue;
        }
        let verdict = Verdict { of, reason: args.reason.clone() };
        entries.push(if counts { Entry::Restoration(verdict) } else { Entry::Withdrawal(verdict) });
    }
    append(&log, &entries)?;
    let loaded = log.load()?;
    let said = if counts { "counts again:" } else { "is withdrawn, and stays in the file:" };
    entries
        .iter()
        .filter_map(Entry::refers_to)
        .try_for_each(|of| say(&loaded, of, said, settings).map(drop))?;
    Ok(Outcome::Done)
}

fn append(log: &Log, entries: &[Entry]) -> Result<(), LogError> {
    let appended = log.append(entries, clock::now())?;
    logging::say_torn(appended.torn.as_ref());
    Ok(())
}

fn say(loaded: &Loaded, id: Id, said: &str, settings: &Settings) -> Result<Outcome> {
    let live = loaded.find(id)?;
    if settings.json {
        logging::print_line(id, live.record.logged_at, live.entry, live.is_corrected())?;
        eprintln!("{id} {said}");
    } else {
        println!("{said} {}", logging::phrase(id, live.entry));
    }
    Ok(Outcome::Done)
}

/// Shows all records about one entry, first to last.
pub fn history(args: &History, settings: &Settings) -> Result<Outcome> {
    let loaded = Log::at(&settings.home).load()?;
    loaded.find(args.id)?;
    for record in loaded.records() {
        if record.id != args.id && record.entry.refers_to() != Some(args.id) {
            continue;
        }
        if settings.json {
            println!("{}", crate::log::wire::to_line(record));
            continue;
        }
        let when = record.logged_at.format("%Y-%m-%d %H:%M %:z");
        let (what, reason) = match &record.entry {
            Entry::Correction(correction) => (changed(&correction.set), correction.reason.as_str()),
            Entry::Withdrawal(verdict) => ("withdrawn".to_owned(), verdict.reason.as_str()),
            Entry::Restoration(verdict) => ("restored".to_owned(), verdict.reason.as_str()),
            entry => (format!("logged {}", logging::phrase(record.id, entry)), ""),
        };
        let because = if reason.is_empty() { String::new() } else { format!(" because: {reason}") };
        println!("{when}  {what}{}", printable(&because));
    }
    Ok(Outcome::Done)
}

fn changed(set: &Change) -> String {
    let parts = [
        set.reading.map(|value| {
            format!("{} {} {}", value.analyte, digits::plain(value.value), value.analyte.default_unit())
        }),
        set.event
            .map(|event| format!("{} {}", event.kind, event.amount.map_or_else(String::new, digits::plain))),
        set.tank.as_ref().map(|tank| format!("tank {}", printable(tank))),
        set.at.map(|at| format!("time {}", at.to_rfc3339())),
        set.note.as_ref().map(|note| format!("note {note:?}")),
    ];
    format!("corrected to {}", parts.into_iter().flatten().collect::<Vec<_>>().join(", "))
}
