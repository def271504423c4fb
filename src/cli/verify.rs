//! `verify`: photos with known values against a chart -> errors, coverage, silent gross errors.

use std::path::PathBuf;

use anyhow::Result;
use rayon::prelude::*;

use super::standards_table::{self, Row};
use super::{Outcome, Settings, charts};
use crate::chart::Chart;
use crate::reading::{Sighting, Status};
use crate::report::verification::{self, Case};
use crate::terms::Analyte;
use crate::{photo, pipeline};

/// Arguments of `verify`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tintwell verify --chart ammonia-june fresh-standard.csv")]
pub struct Args {
    /// Table of photos and their known values, as for calibrate
    table: PathBuf,
    /// The chart's name or file
    #[arg(long)]
    chart: String,
    /// Take only the rows of this analyte
    #[arg(long)]
    analyte: Option<Analyte>,
    /// List every photo
    #[arg(long)]
    list: bool,
}

/// Reads every photo of the table and compares with what is known.
///
/// # Errors
/// The table or the chart cannot be used.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let chart = charts::find(settings, &args.chart)?;
    let rows = standards_table::read(&args.table, args.analyte)?;
    let sightings: Vec<Sighting> = rows.par_iter().map(|row| read(row, &chart)).collect();
    let cases: Vec<Case> = rows
        .iter()
        .zip(&sightings)
        .filter_map(|(row, sighting)| {
            Case::new(&row.name, row.analyte, row.value, sighting, chart.scale(row.analyte)?)
        })
        .collect();
    let refused = sightings.iter().filter(|sighting| sighting.status == Status::Refused).count();
    if settings.json {
        if args.list {
            for case in &cases {
                println!("{}", case.json()?);
            }
        }
        for line in verification::json(&cases)? {
            println!("{line}");
        }
    } else {
        print!("{}", verification::text(&cases, args.list));
    }
    Ok(match refused {
        0 => Outcome::Done,
        all if all == sightings.len() => Outcome::Nothing,
        _ => Outcome::Partly,
    })
}

fn read(row: &Row, chart: &Chart) -> Sighting {
    let refused = |refusal: pipeline::Refusal| {
        Sighting::refused(
            Some(row.analyte),
            Some(chart.name.clone()),
            refusal.to_string(),
            Default::default(),
        )
    };
    match photo::open(&row.path).map_err(pipeline::Refusal::from).and_then(pipeline::look) {
        Ok(view) => pipeline::read_vial(&view, view.card.layout.windows[0], chart),
        Err(refusal) => refused(refusal),
    }
}
