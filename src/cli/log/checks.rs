//! `log checks`: the control charts of the kits that were checked with known standards.

use std::collections::BTreeSet;

use anyhow::Result;

use crate::cli::doubts::{Checks, LIMITS, checks_of};
use crate::cli::kits::Kits;
use crate::cli::{Outcome, Settings, logging};
use crate::log::Log;
use crate::report::control_chart::Standing;
use crate::terms::Analyte;

/// Arguments of `log checks`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Every check since the kit's chart was made is a point; its place is how far it reads off, in standard\nuncertainties. : are the warning limits (two), | the action limits (three). `tintwell verify --log`\nadds checks."
)]
pub struct Args {
    /// Only this kit's chart
    #[arg(long, value_name = "NAME")]
    chart: Option<String>,
    /// Only this analyte
    #[arg(long)]
    analyte: Option<Analyte>,
}

/// Shows every control chart.
///
/// # Errors
/// If the log cannot be read.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let loaded = Log::at(&settings.home).load()?;
    logging::say_problems(loaded.problems());
    let checks = Checks::of(&loaded);
    let standings = standings(args, settings, &checks);
    if standings.is_empty() {
        eprintln!(
            "no check is logged that fits: photograph a fresh standard, then `tintwell verify --chart NAME --log TABLE.csv`"
        );
    }
    for standing in standings {
        if settings.json {
            println!("{}", standing.json()?);
        } else {
            print!("{}{}", standing.text(), standing.drawn());
        }
    }
    Ok(Outcome::Done)
}

fn standings(args: &Args, settings: &Settings, checks: &Checks) -> Vec<Standing> {
    let kits = Kits::new(settings);
    let names: BTreeSet<&str> = checks.charts().collect();
    let mut standings = Vec::new();
    for name in names.into_iter().filter(|name| args.chart.as_deref().is_none_or(|chart| chart == *name)) {
        let chart = match kits.get(name) {
            Ok(chart) => chart,
            Err(error) => {
                eprintln!("note: the checks of {name:?} are left out: {error}");
                continue;
            }
        };
        let analytes = chart.scales.iter().map(|scale| scale.analyte);
        let wanted = analytes.filter(|own| args.analyte.is_none_or(|analyte| analyte == *own));
        standings.extend(wanted.filter_map(|analyte| {
            Standing::of(&chart.name, analyte, &checks_of(&chart, analyte, checks), &LIMITS)
        }));
    }
    standings
}
