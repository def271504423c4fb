//! `verify`: photos with known values against a chart -> errors, coverage, silent gross errors.

mod checks;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use chrono::{DateTime, FixedOffset};
use rayon::prelude::*;

use super::calibrate::strips::in_default_units;
use super::standards_table::{self, Row, WindowError};
use super::{Outcome, Settings, charts};
use crate::chart::Chart;
use crate::photo;
use crate::pipeline::{self, Refusal};
use crate::reading::{Evidence, Sighting, Status};
use crate::report::verification::{self, Case};
use crate::terms::Analyte;

/// Arguments of `verify`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell verify --chart ammonia-june fresh-standard.csv\n  tintwell verify --chart ammonia-june --log fresh-standard.csv\n\nChecks in the log form a control chart: once one lies beyond three standard deviations, later\nreadings with that chart are flagged until it is made anew. `tintwell log checks`\nshows the control charts."
)]
pub struct Args {
    /// Table of photos and their known values, as for calibrate, a column window included
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
    /// Keep the results in the log as checks of the kit (of no tank: they hold for every tank that is
    /// read with its chart)
    #[arg(long)]
    log: bool,
    /// Refused with a word why
    #[arg(long, value_name = "NAME", hide = true)]
    tank: Option<String>,
}

/// Reads every photo of the table and compares with what is known.
///
/// # Errors
/// The table or the chart cannot be used.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    if let Some(tank) = &args.tank {
        bail!(
            "a check is of a kit, not of a tank: a standard says nothing of the water in {tank}; leave --tank out: with --log the check counts for every tank that is read with chart {:?}",
            args.chart
        );
    }
    let chart = charts::find(settings, &args.chart)?;
    let mut rows = standards_table::read(&args.table, args.analyte)?;
    if let Some(form) = &chart.strip {
        in_default_units(&mut rows, form);
    }
    if let Some(row) = rows.iter().find(|row| chart.scale(row.analyte).is_none()) {
        bail!(
            "{}: line {}: chart {:?} does not read {}: choose rows with --analyte, or another chart",
            args.table.display(),
            row.line,
            chart.name,
            row.analyte
        );
    }
    let dated = read_all(&rows, &chart);
    if args.log {
        checks::log(settings, &chart, &rows, &dated)?;
    }
    let sightings: Vec<Sighting> = dated.into_iter().map(|(_, sighting)| sighting).collect();
    let cases: Vec<Case> = rows
        .iter()
        .zip(&sightings)
        .filter_map(|(row, sighting)| {
            let path = &chart.scale(row.analyte)?.ruler(chart.form)?.path;
            Some(Case::new(&row.name, row.analyte, row.value, sighting, path))
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

/// A sighting and when its photo was taken.
type Dated = (Option<DateTime<FixedOffset>>, Sighting);

/// All that a photo shows in the windows that its rows tell of, and when it was taken.
type PhotoRead = (Option<DateTime<FixedOffset>>, BTreeMap<Option<usize>, Result<Vec<Sighting>, WindowError>>);

/// One sighting a row; a strip's photo, with a row for each pad, is read once.
fn read_all(rows: &[Row], chart: &Chart) -> Vec<Dated> {
    let mut paths: Vec<&Path> = rows.iter().map(|row| row.path.as_path()).collect();
    paths.sort_unstable();
    paths.dedup();
    let read: BTreeMap<&Path, Result<PhotoRead, Refusal>> =
        paths.into_par_iter().map(|path| (path, read(path, rows, chart))).collect();
    let sighting = |row: &Row| {
        let refused = |reason: String| {
            Sighting::refused(Some(row.analyte), Some(chart.name.clone()), reason, Evidence::default())
        };
        match &read[row.path.as_path()] {
            Ok((taken_at, windows)) => match &windows[&row.window] {
                Ok(all) => {
                    let own = all.iter().find(|sighting| sighting.analyte == Some(row.analyte)).cloned();
                    (*taken_at, own.unwrap_or_else(|| refused("the photo shows no such sample".to_owned())))
                }
                Err(error) => (*taken_at, refused(error.to_string())),
            },
            Err(refusal) => (None, refused(refusal.to_string())),
        }
    };
    rows.iter().map(sighting).collect()
}

fn read(path: &Path, rows: &[Row], chart: &Chart) -> Result<PhotoRead, Refusal> {
    let view = pipeline::look(pipeline::open(&photo::read_file(path)?)?)?;
    let mut windows = BTreeMap::new();
    for row in rows.iter().filter(|row| row.path == path) {
        windows.entry(row.window).or_insert_with(|| {
            row.window_on(view.card.layout).map(|window| pipeline::read_window(&view, window, chart))
        });
    }
    Ok((super::read::instant(view.photo.captured), windows))
}
