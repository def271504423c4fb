//! `event`: what was done to a tank.

use anyhow::{Context, Result, bail};

use super::entry_args::EntryArgs;
use super::{Outcome, Settings, clock, logging};
use crate::log::{Entry, Event, quantity};
use crate::terms::EventKind;

/// Arguments of `event`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell event --tank hallway ammonia_dose=2\n  tintwell event --tank hallway water_change=30 filter_cleaned\n  tintwell event --tank hallway --at \"2031-03-04 18:05\" food=0.2"
)]
pub struct Args {
    /// Of which tank, when, and a note
    #[command(flatten)]
    entry: EntryArgs,

    /// What was done: ammonia_dose=2 (rise in mg/L NH3), water_change=30 (% of volume), food=0.5 (g),
    /// mature_medium=40 (% of filter), bottled_bacteria=50 (mL), fish_added=6 (-2 if two
    /// died or were moved out), alkalinity_dose=0.5 (rise in meq/L), filter_cleaned, medicine
    #[arg(required = true, value_name = "EVENT[=AMOUNT]")]
    events: Vec<String>,
}

/// Logs the events.
///
/// # Errors
/// If one of them cannot be read, or the log cannot be written; then none is logged.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let now = clock::now();
    let at = args.entry.time(now)?;
    let mut entries = Vec::new();
    for text in &args.events {
        let (kind, amount) = deed(text)?;
        logging::warn(amount.and_then(|amount| quantity::doubt_amount(kind, amount)));
        let (tank, note) = (args.entry.tank.clone(), args.entry.note.clone());
        entries.push(Entry::Event(Event { tank, kind, amount, at, note }));
    }
    logging::write(settings, &args.entry.tank, &entries, now)?;
    Ok(Outcome::Done)
}

/// Reads `EVENT` or `EVENT=AMOUNT`.
///
/// # Errors
/// Says what is wrong with it.
pub fn deed(text: &str) -> Result<(EventKind, Option<f64>)> {
    let Some((word, number)) = text.split_once('=') else {
        let kind: EventKind = text.parse()?;
        if needs_amount(kind) {
            bail!("{kind} needs an amount in {}, such as {kind}={}", kind.unit(), usual_amount(kind));
        }
        return Ok((kind, None));
    };
    let kind: EventKind = word.parse()?;
    let amount = quantity::amount(number, kind).map_err(anyhow::Error::msg);
    Ok((kind, Some(amount.with_context(|| format!("in {text:?}"))?)))
}

/// Whether a deed says nothing without its amount.
const fn needs_amount(kind: EventKind) -> bool {
    matches!(kind, EventKind::AmmoniaDose | EventKind::WaterChange | EventKind::AlkalinityDose)
}

/// An amount that would make sense, as an example.
const fn usual_amount(kind: EventKind) -> &'static str {
    match kind {
        EventKind::WaterChange => "30",
        EventKind::AlkalinityDose => "0.5",
        _ => "2",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_example_of_an_amount_makes_sense() {
        let said = |word| deed(word).unwrap_err().to_string();
        assert!(said("water_change").ends_with("in % of volume, such as water_change=30"));
        assert!(said("ammonia_dose").ends_with("in mg/L NH3, such as ammonia_dose=2"));
        assert!(said("alkalinity_dose").ends_with("in meq/L, such as alkalinity_dose=0.5"));
    }
}
