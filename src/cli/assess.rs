//! `assess`: where the cycle stands, what is wrong, what to do today, when it will be ready.

use anyhow::Result;
use chrono::{DateTime, FixedOffset};

use super::{Outcome, Settings, clock, history, logging, terminal};
use crate::cycle::{TankHistory, assess};
use crate::log::Log;
use crate::report::trend;
use crate::terms::Analyte;

mod contract;
mod outlook;
mod words;

/// Arguments of `assess`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell assess --tank hallway\n  tintwell assess --tank hallway --plan-proof\n  tintwell assess --tank hallway --what-if\n  tintwell assess --json --at 2031-03-20"
)]
pub struct Args {
    /// The tank; without it every tank is assessed
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,

    /// Judge as of this moment, using nothing dated later [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,

    /// Say how to prove the cycle: what to dose, when to test, which readings decide
    #[arg(long)]
    plan_proof: bool,

    /// Compare what could be done today by how it would shift the date
    #[arg(long)]
    what_if: bool,
}

/// Assesses one tank, or all.
///
/// # Errors
/// If the log cannot be read, the time is no time, or there is no such tank.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let at = clock::at_or_now(args.at.as_deref())?;
    for (index, history) in histories(args, settings)?.into_iter().enumerate() {
        if args.at.is_none() {
            history::say_later(&history, at);
        }
        let assessment = assess(&history, at);
        if settings.json {
            let line = contract::Line::of(&assessment, args.plan_proof);
            let line = if args.what_if { line.with_what_if(outlook::lines(&assessment)) } else { line };
            println!("{}", serde_json::to_string(&line)?);
        } else {
            if index > 0 {
                println!();
            }
            words::print(&assessment, args.plan_proof);
            trends(&history, at);
            outlook::print(&assessment, args.what_if);
        }
    }
    Ok(Outcome::Done)
}

/// The history of the tank that is asked for, or of all.
fn histories(args: &Args, settings: &Settings) -> Result<Vec<TankHistory>> {
    let log = Log::at(&settings.home);
    if let Some(tank) = &args.tank {
        let of_tank = history::load(&log, tank)?;
        logging::say_problems(of_tank.problems());
        return Ok(vec![history::of_tank(&of_tank)]);
    }
    let loaded = log.load()?;
    logging::say_problems(loaded.problems());
    history::chosen(&loaded, None)?;
    Ok(history::of_all(&loaded))
}

/// The course of each analyte in a line, as far as it was known at `at`.
fn trends(history: &TankHistory, at: DateTime<FixedOffset>) {
    let known = history.measurements.partition_point(|measurement| measurement.taken_at <= at);
    let measurements = &history.measurements[..known];
    let analytes = [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate, Analyte::Ph];
    let has_blocks = terminal::has_unicode();
    let lines: Vec<String> =
        analytes.into_iter().filter_map(|analyte| trend::line(analyte, measurements, has_blocks)).collect();
    if !lines.is_empty() {
        words::heading("Course");
        lines.iter().for_each(|line| println!("  {line}"));
    }
}
