//! What the commands that write the log have in common.

use anyhow::Result;
use chrono::{DateTime, FixedOffset};

use super::entry_line::EntryLine;
use super::{Settings, history, suggest};
use crate::cycle::animals::Animals;
use crate::log::{Entry, Id, Loaded, Log, Problem, TornTail};
use crate::math::digits;
use crate::report;
use crate::terms::EventKind;
use crate::terms::text::{printable, shell_word};

/// Writes entries of one tank, says what was written and what is odd about it; gives the log as it was before.
///
/// # Errors
/// If the log cannot be read or written.
pub fn write(
    settings: &Settings,
    tank: &str,
    entries: &[Entry],
    now: DateTime<FixedOffset>,
) -> Result<Loaded> {
    let log = Log::at(&settings.home);
    let before = log.load()?;
    let appended = log.append(entries, now)?;
    say_torn(appended.torn.as_ref());
    say_tank(&before, tank);
    say_animals(&before, tank, entries, now);
    say_fish(&before, tank, entries, now);
    say_twice(&before, tank, entries);
    say_long_before(&before, tank, &appended.ids, entries);
    for (&id, entry) in appended.ids.iter().zip(entries) {
        if settings.json {
            print_line(id, now, entry, false)?;
        } else {
            println!("logged {}", phrase(id, entry));
        }
    }
    Ok(before)
}

/// Prints an entry as a line of JSON if it is a reading or an event.
///
/// # Errors
/// If it cannot be put into JSON.
pub fn print_line(id: Id, logged_at: DateTime<FixedOffset>, entry: &Entry, corrected: bool) -> Result<()> {
    if let Some(line) = EntryLine::of(id, logged_at, entry, corrected) {
        println!("{}", serde_json::to_string(&line)?);
    }
    Ok(())
}

/// An entry in one line for people.
pub fn phrase(id: Id, entry: &Entry) -> String {
    let tank = printable(entry.tank().unwrap_or_default());
    let time = entry.at().map(|at| at.format(" at %Y-%m-%d %H:%M %:z").to_string()).unwrap_or_default();
    format!("#{id} {tank}{time}: {}", contents(entry))
}

/// What an entry says, without tank and time.
pub fn contents(entry: &Entry) -> String {
    match entry {
        Entry::Reading(reading) => {
            let measurement = &reading.measurement;
            format!("{} {}", measurement.analyte, report::measured::value(measurement))
        }
        Entry::Event(event) => match event.amount {
            Some(amount) => format!("{} {} {}", event.kind, digits::plain(amount), event.kind.unit()),
            None => event.kind.to_string(),
        },
        other => other.kind().to_owned(),
    }
}

/// Warns if ammonia went into a tank with animals.
fn say_animals(before: &Loaded, tank: &str, entries: &[Entry], now: DateTime<FixedOffset>) {
    let doses = |entry: &Entry| matches!(entry, Entry::Event(event) if event.kind == EventKind::AmmoniaDose);
    if entries.iter().any(doses) && Animals::at(&history::of(before, tank), now) == Animals::Present {
        eprintln!(
            "warning: by the log animals live in {}, and ammonia harms them: change half the water now, test ammonia and pH, and see `tintwell assess --tank {}`; if they are no longer there, log it as fish_added=-NUMBER",
            printable(tank),
            shell_word(tank)
        );
    }
}

/// Warns if more fish leave than the log knows of.
fn say_fish(before: &Loaded, tank: &str, entries: &[Entry], now: DateTime<FixedOffset>) {
    let added: f64 = entries
        .iter()
        .filter_map(|entry| match entry {
            Entry::Event(event) if event.kind == EventKind::FishAdded => event.amount,
            _ => None,
        })
        .sum();
    if added >= 0.0 {
        return;
    }
    let known = Animals::count(&history::of(before, tank), now).unwrap_or(0.0).max(0.0);
    if known + added < 0.0 {
        eprintln!(
            "warning: by the log {known:.0} fish lived in {}, and {:.0} left: log those that came before, with their date, or correct the number",
            printable(tank),
            -added
        );
    }
}

/// An entry typed so many days before the tank's latest has likely the year wrong.
const LONG_BEFORE_DAYS: i64 = 300;

/// Warns of an entry of long before the tank's others.
fn say_long_before(before: &Loaded, tank: &str, ids: &[Id], entries: &[Entry]) {
    let of_tank = before.live().filter(|live| live.entry.tank() == Some(tank));
    let Some(latest) = of_tank.filter_map(|live| live.entry.at()).max() else { return };
    for (id, at) in ids.iter().zip(entries).filter_map(|(id, entry)| Some((id, entry.at()?))) {
        let days = (latest - at).num_days();
        if days > LONG_BEFORE_DAYS {
            eprintln!(
                "warning: {} lies {days} days before the latest entry of {}: check the year; if it is wrong, `tintwell log correct {id} --at TIME`",
                at.format("%Y-%m-%d"),
                printable(tank)
            );
        }
    }
}

/// Two entries that say the same within so many minutes are likely one that was sent twice.
const TWICE_MINUTES: i64 = 10;

/// Says if entries say what others of the same tank and time said already.
fn say_twice(before: &Loaded, tank: &str, entries: &[Entry]) {
    for entry in entries {
        let same = |other: &Entry| {
            let apart = entry.at().zip(other.at()).map(|(at, other)| (at - other).num_minutes().abs());
            other.tank() == Some(tank)
                && other.kind() == entry.kind()
                && apart.is_some_and(|minutes| minutes <= TWICE_MINUTES)
                && contents(other) == contents(entry)
        };
        if let Some(live) = before.live().find(|live| same(live.entry)) {
            let (id, what) = (live.record.id, contents(entry));
            eprintln!(
                "warning: entry {id} of {} says {what} at about the same time, and both count: if they are one, `tintwell log withdraw {id}`",
                printable(tank)
            );
        }
    }
}

/// Says if a tank is new, and if its name is suspiciously like another's.
fn say_tank(before: &Loaded, tank: &str) {
    let tanks = before.tanks();
    if tanks.contains(&tank) {
        return;
    }
    let fold = |name: &str| name.to_lowercase().split_whitespace().collect::<String>();
    match tanks.iter().find(|known| fold(known) == fold(tank)) {
        Some(known) => eprintln!(
            "warning: {} is a new tank beside {}: if they are one, correct the entry with `tintwell log correct NUMBER --tank NAME`",
            printable(tank),
            printable(known)
        ),
        None => match suggest::closest(tank, &tanks) {
            Some(known) => eprintln!(
                "note: {} is a new tank; did you mean {}? Then correct the entry with `tintwell log correct NUMBER --tank NAME`",
                printable(tank),
                printable(known)
            ),
            None => eprintln!("note: {} is a new tank", printable(tank)),
        },
    }
}

/// Says what an earlier crash left at the end of the log.
pub fn say_torn(torn: Option<&TornTail>) {
    match torn {
        Some(TornTail::SetAside { file, bytes }) => eprintln!(
            "warning: the log ended in the middle of a line, as after a crash; these {bytes} bytes were moved to {}. Nothing that was reported as logged is missing",
            printable(&file.display().to_string())
        ),
        Some(TornTail::Completed) => {
            eprintln!("note: the log's last line lacked its line end, which was added");
        }
        None => {}
    }
}

/// Says which lines of the log could not be taken into account.
pub fn say_problems(problems: &[Problem]) {
    const SHOWN: usize = 5;
    for problem in problems.iter().take(SHOWN) {
        eprintln!("warning: {}", printable(&problem.to_string()));
    }
    if problems.len() > SHOWN {
        eprintln!("warning: and {} more such lines", problems.len() - SHOWN);
    }
}

/// Says what is odd, on standard error.
pub fn warn(doubt: Option<String>) {
    if let Some(doubt) = doubt {
        eprintln!("warning: {}", printable(&doubt));
    }
}
