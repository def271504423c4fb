//! What the log knows of a tank, as the cycle stages take it.

use std::collections::HashMap;

use anyhow::{Result, bail};
use chrono::{DateTime, FixedOffset};

use super::suggest;
use crate::cycle::{Deed, TankHistory};
use crate::log::{Entry, Loaded, Log, TankLog};
use crate::terms::TankFacts;
use crate::terms::text::printable;

/// The tank that is asked for, or else all.
///
/// # Errors
/// There is no such tank, or none at all.
pub fn chosen<'a>(loaded: &'a Loaded, tank: Option<&'a str>) -> Result<Vec<&'a str>> {
    let known = loaded.tanks();
    let chosen = match tank {
        Some(tank) if known.contains(&tank) => vec![tank],
        Some(tank) => bail!(suggest::no_tank(tank, &known)),
        None => known,
    };
    if chosen.is_empty() {
        bail!("no tank is logged yet: add a reading with `tintwell add --tank NAME ammonia=...`");
    }
    Ok(chosen)
}

/// What is logged of one tank, which must be something.
///
/// # Errors
/// The log cannot be read, or there is no such tank.
pub fn load(log: &Log, tank: &str) -> Result<TankLog> {
    let of_tank = log.load_tank(tank)?;
    if of_tank.is_empty() {
        bail!(suggest::no_tank(tank, &log.load()?.tanks()));
    }
    Ok(of_tank)
}

/// Everything that counts of one tank, by time.
pub fn of(loaded: &Loaded, tank: &str) -> TankHistory {
    with(loaded, tank, &[])
}

/// The same, with entries of the tank that were written since the log was loaded.
pub fn with(loaded: &Loaded, tank: &str, since: &[Entry]) -> TankHistory {
    let mut history = empty(loaded.facts(tank));
    let before = loaded.live().map(|live| live.entry).filter(|entry| entry.tank() == Some(tank));
    before.chain(since).for_each(|entry| take(&mut history, entry));
    by_time(history)
}

/// Everything that counts of the tank, by time.
pub fn of_tank(log: &TankLog) -> TankHistory {
    let mut history = empty(log.facts());
    log.live().for_each(|live| take(&mut history, live.entry));
    by_time(history)
}

/// Everything that counts of each tank, by time; tanks in order of first mention.
pub fn of_all(loaded: &Loaded) -> Vec<TankHistory> {
    let tanks = loaded.tanks();
    let place: HashMap<&str, usize> = tanks.iter().enumerate().map(|(at, &tank)| (tank, at)).collect();
    let mut histories: Vec<TankHistory> = tanks.iter().map(|tank| empty(loaded.facts(tank))).collect();
    for live in loaded.live() {
        if let Some(&at) = live.entry.tank().and_then(|tank| place.get(tank)) {
            take(&mut histories[at], live.entry);
        }
    }
    histories.into_iter().map(by_time).collect()
}

/// Says how many entries are left out because they are dated later than `now`: a clock may be wrong.
pub fn say_later(history: &TankHistory, now: DateTime<FixedOffset>) {
    let read = history.measurements.iter().map(|measurement| measurement.taken_at);
    let done = history.deeds.iter().map(|deed| deed.at);
    let later: Vec<DateTime<FixedOffset>> = read.chain(done).filter(|at| *at > now).collect();
    if let Some(last) = later.iter().max() {
        let (tank, count) = (printable(&history.facts.tank), later.len());
        let entries = if count == 1 { "1 entry is".to_owned() } else { format!("{count} entries are") };
        eprintln!(
            "note: {tank}: {entries} dated later than now and left out, the last {}. If the date is wrong, mend it with `tintwell log correct NUMBER --at TIME`; to judge a later moment, give --at",
            last.format("%Y-%m-%d %H:%M")
        );
    }
}

const fn empty(facts: TankFacts) -> TankHistory {
    TankHistory { facts, measurements: Vec::new(), deeds: Vec::new() }
}

fn take(history: &mut TankHistory, entry: &Entry) {
    match entry {
        Entry::Reading(reading) => history.measurements.push(reading.measurement.clone()),
        Entry::Event(event) => history.deeds.push(Deed {
            kind: event.kind,
            amount: event.amount,
            at: event.at,
            note: event.note.clone(),
            is_supposed: false,
        }),
        _ => {}
    }
}

fn by_time(mut history: TankHistory) -> TankHistory {
    history.measurements.sort_by_key(|measurement| measurement.taken_at);
    history.deeds.sort_by_key(|deed| deed.at);
    history
}
