//! `dose`: amounts of ammonia source, water and buffer.

use anyhow::{Context, Result};
use chrono::{DateTime, FixedOffset};
use clap::Subcommand;

use super::{Outcome, Settings};
use crate::cycle::TankHistory;
use crate::cycle::animals::Animals;
use crate::cycle::balance::balance;
use crate::cycle::series::Series;
use crate::log::Log;
use crate::terms::TankFacts;

mod alkalinity;
mod ammonia;
mod output;
mod volume;
mod water;

/// Arguments of `dose`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell dose --tank hallway ammonia --rise 2\n  tintwell dose --volume 60 alkalinity --help\n\nEach part has its own help with its options."
)]
pub struct Args {
    /// The tank whose volume and tap water to take
    #[arg(long, value_name = "NAME", global = true)]
    tank: Option<String>,

    /// Volume of water, litres, instead of the tank's
    #[arg(long, value_name = "LITRES", global = true, allow_negative_numbers = true)]
    volume: Option<f64>,

    #[command(subcommand)]
    what: What,
}

/// What to reckon.
#[derive(Debug, Subcommand)]
enum What {
    /// Ammonium chloride, ammonia solution or food for a rise of ammonia
    Ammonia(ammonia::Args),
    /// Water changes to reach a target
    Water(water::Args),
    /// Bicarbonate for a rise of alkalinity, and how many doses the buffer carries
    Alkalinity(alkalinity::Args),
    /// Net volume of a tank from its dimensions
    Volume(volume::Args),
}

/// Reckons an amount.
///
/// # Errors
/// If the numbers make no sense, the volume is unknown, or the log cannot be read.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let tank = Tank::of(args, settings)?;
    let sheet = match &args.what {
        What::Ammonia(ammonia) => ammonia::reckon(ammonia, &tank)?,
        What::Water(water) => water::reckon(water, &tank)?,
        What::Alkalinity(alkalinity) => alkalinity::reckon(alkalinity, &tank)?,
        What::Volume(volume) => volume::reckon(volume)?,
    };
    sheet.print(settings.json)?;
    Ok(Outcome::Done)
}

/// What is known of the tank to dose.
#[derive(Debug, Default)]
struct Tank {
    volume_l: Option<f64>,
    facts: TankFacts,
    history: Option<TankHistory>,
}

impl Tank {
    fn of(args: &Args, settings: &Settings) -> Result<Self> {
        let Some(name) = args.tank.as_deref() else {
            return Ok(Self { volume_l: args.volume, ..Self::default() });
        };
        let logged = super::history::load(&Log::at(&settings.home), name)?;
        super::logging::say_problems(logged.problems());
        let history = super::history::of_tank(&logged);
        let facts = history.facts.clone();
        Ok(Self { volume_l: args.volume.or(facts.volume_l), facts, history: Some(history) })
    }

    fn volume(&self) -> Result<f64> {
        self.volume_l.context(
            "the volume of water is not known: give --volume LITRES, or tell it once with `tintwell tank NAME --volume LITRES`",
        )
    }
}

/// The tank's alkalinity now, reckoned from its log.
fn water_alkalinity(tank: &Tank) -> Option<f64> {
    let history = tank.history.as_ref()?;
    balance(&Series::new(history, last_entry(history)?), &history.facts).alkalinity_meq_l
}

/// Whether animals live in the tank by its log.
fn has_animals(tank: &Tank) -> bool {
    tank.history.as_ref().is_some_and(|history| {
        Animals::at(history, last_entry(history).unwrap_or_default()) == Animals::Present
    })
}

fn last_entry(history: &TankHistory) -> Option<DateTime<FixedOffset>> {
    let last = history.measurements.iter().map(|reading| reading.taken_at).max();
    last.into_iter().chain(history.deeds.iter().map(|deed| deed.at)).max()
}
