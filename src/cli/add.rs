//! `add`: readings typed by hand.

use anyhow::{Context, Result, bail};
use chrono::{DateTime, FixedOffset};

use super::entry_args::EntryArgs;
use super::{Outcome, Settings, clock, harm, history, logging};
use crate::log::{Entry, Reading, Source, quantity};
use crate::reading::Measurement;
use crate::terms::Analyte;

/// Arguments of `add`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell add --tank hallway ammonia=1.2 nitrite=0 ph=7.4\n  tintwell add --tank hallway --at \"2031-03-04 18:05\" nitrate=20\n  tintwell add --tank hallway ammonia=0.25..0.5\n  tintwell add --tank hallway ammonia=1.0N \"nitrate=>100\""
)]
pub struct Args {
    /// Of which tank, when, and a note
    #[command(flatten)]
    entry: EntryArgs,

    /// Readings, e.g. ammonia=1.2 nitrite=0 ph=7.4; ammonia=0.25..0.5 lies between two colours,
    /// "ammonia=1.0N" counts as nitrogen, "nitrate=>100" is above the last colour, "nitrite=<0.1" below
    /// the first
    #[arg(required = true, value_name = "ANALYTE=VALUE")]
    readings: Vec<String>,
}

/// Logs the readings.
///
/// # Errors
/// If one of them cannot be read, or the log cannot be written; then none is logged.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let now = clock::now();
    let at = args.entry.time(now)?;
    let entries = args.readings.iter().map(|text| reading(args, text, at)).collect::<Result<Vec<Entry>>>()?;
    let tank = &args.entry.tank;
    let before = logging::write(settings, tank, &entries, now)?;
    for line in harm::shown_by(&history::with(&before, tank, &entries), at, now) {
        eprintln!("warning: {line}");
    }
    Ok(Outcome::Done)
}

fn reading(args: &Args, text: &str, at: DateTime<FixedOffset>) -> Result<Entry> {
    let (analyte, typed) = value(text)?;
    if let Some(value) = typed.value.or(typed.low) {
        logging::warn(quantity::doubt(analyte, value));
    }
    Ok(Entry::Reading(Reading {
        tank: args.entry.tank.clone(),
        measurement: Measurement {
            analyte,
            status: typed.status,
            value: typed.value,
            low: typed.low,
            high: typed.high,
            taken_at: at,
            flags: Vec::new(),
        },
        source: Source::Hand { typed: typed.converted.then(|| text.to_owned()) },
        note: args.entry.note.clone(),
    }))
}

/// Reads `ANALYTE=VALUE`.
///
/// # Errors
/// Says what is wrong with it.
pub fn value(text: &str) -> Result<(Analyte, quantity::Typed)> {
    let Some((word, number)) = text.split_once('=') else {
        bail!("{text:?} is not of the form ANALYTE=VALUE, such as ammonia=1.2");
    };
    let analyte: Analyte = word.parse()?;
    let typed = quantity::typed(number, analyte).map_err(anyhow::Error::msg);
    Ok((analyte, typed.with_context(|| format!("in {text:?}"))?))
}
