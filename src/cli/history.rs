//! What the log knows of a tank, as the cycle stages take it.

use anyhow::{Result, bail};

use super::suggest;
use crate::cycle::{Deed, TankHistory};
use crate::log::{Entry, Loaded};

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

/// Everything that counts of one tank, by time.
pub fn of(loaded: &Loaded, tank: &str) -> TankHistory {
    let mut history = TankHistory { facts: loaded.facts(tank), measurements: Vec::new(), deeds: Vec::new() };
    for live in loaded.live() {
        match live.entry {
            Entry::Reading(reading) if reading.tank == tank => {
                history.measurements.push(reading.measurement.clone());
            }
            Entry::Event(event) if event.tank == tank => history.deeds.push(Deed {
                kind: event.kind,
                amount: event.amount,
                at: event.at,
                note: event.note.clone(),
                is_supposed: false,
            }),
            _ => {}
        }
    }
    history.measurements.sort_by_key(|measurement| measurement.taken_at);
    history.deeds.sort_by_key(|deed| deed.at);
    history
}
