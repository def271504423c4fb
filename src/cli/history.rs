//! What the log knows of a tank, as the cycle stages take it.

use crate::cycle::{Deed, TankHistory};
use crate::log::{Entry, Loaded};

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
            }),
            _ => {}
        }
    }
    history.measurements.sort_by_key(|measurement| measurement.taken_at);
    history.deeds.sort_by_key(|deed| deed.at);
    history
}
