//! `calibrate`: photos of standards -> a chart, with its quality report.

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::standards_table::{self, Row};
use super::{Outcome, Settings, charts, clock, pictures};
use crate::chart::calibrate::{Observation, Photo as StandardPhoto, calibrate};
use crate::chart::{Chart, Form};
use crate::colour::MixedLight;
use crate::pipeline::{self, Refusal, View};
use crate::sample::Sample;
use crate::terms::Analyte;
use crate::{photo, report};

/// Arguments of `calibrate`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tintwell calibrate ammonia-june --standards standards.csv\n\nThe table's first line is photo,analyte,value; further columns are ignored, but for\nuncertainty_percent (standard uncertainty of the value). Photos are sought beside the table.\nTake two or three photos of each of at least five levels, the blank among them, in the light\nin which you will read later."
)]
pub struct Args {
    /// The chart's name
    name: String,
    /// Table of photos and their known values
    #[arg(long, value_name = "FILE.csv")]
    standards: PathBuf,
    /// Take only the rows of this analyte
    #[arg(long)]
    analyte: Option<Analyte>,
    /// What kind of test it is
    #[arg(long, value_enum, default_value = "vial")]
    form: Form,
    /// Where to write the chart [default: your data folder]
    #[arg(long, value_name = "FILE.json")]
    out: Option<PathBuf>,
    /// Draw the chart's levels and their path
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
}

/// Makes a chart.
///
/// # Errors
/// The table is wrong, too few photos can be measured, or the levels make no chart.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    charts::check_name(&args.name).map_err(anyhow::Error::msg)?;
    args.picture.as_deref().map(pictures::format_of).transpose()?;
    let rows = standards_table::read(&args.standards, args.analyte)?;
    if let Some(other) = rows.iter().find(|row| row.analyte != rows[0].analyte) {
        bail!(
            "{}: line {}: {} beside {}: a vial's chart holds one analyte, choose it with --analyte",
            args.standards.display(),
            other.line,
            other.analyte,
            rows[0].analyte
        );
    }
    let measured: Vec<Result<Measured, Refusal>> = rows.par_iter().map(|row| measure(&row.path)).collect();
    let (mut photos, mut observations, mut card_version) = (Vec::new(), Vec::new(), None);
    let mut refused = 0;
    for (row, measured) in rows.iter().zip(measured) {
        match measured {
            Ok(measured) => {
                let version = measured.view.card.layout.version;
                if *card_version.get_or_insert(version) != version {
                    bail!(
                        "{}: another version of the card than in the photos before it: use one card for a chart",
                        row.name
                    );
                }
                observations.push(observation(photos.len(), row, &measured.sample));
                photos.push(StandardPhoto {
                    name: row.name.clone(),
                    patches: measured.view.patches,
                    mixed: measured.mixed,
                });
            }
            Err(refusal) => {
                eprintln!("{}: left out: {refusal}", row.name);
                refused += 1;
            }
        }
    }
    let Some(card_version) = card_version else {
        bail!("none of the {refused} photos can be measured: see the reasons above");
    };
    let mut chart = calibrate(&args.name, args.form, card_version, &photos, &observations)?;
    chart.made_on = Some(clock::now().format("%Y-%m-%d").to_string());
    finish(args, settings, &chart, refused)
}

fn finish(args: &Args, settings: &Settings, chart: &Chart, refused: usize) -> Result<Outcome> {
    let path = args.out.clone().unwrap_or_else(|| charts::file_of(settings, &args.name));
    chart.save(&path)?;
    if let Some((file, picture)) = args.picture.as_deref().zip(report::chart_picture::draw(chart)) {
        pictures::save(&picture, file)?;
    }
    if settings.json {
        println!("{}", report::chart_quality::json(chart, &path, refused)?);
    } else {
        print!("{}", report::chart_quality::text(chart, &path, refused));
    }
    Ok(if refused > 0 { Outcome::Partly } else { Outcome::Done })
}

struct Measured {
    view: View,
    sample: Sample,
    mixed: MixedLight,
}

fn measure(path: &Path) -> Result<Measured, Refusal> {
    let view = pipeline::look(photo::open(path)?)?;
    let (sample, mixed) = pipeline::vial_in(&view, view.card.layout.windows[0])?;
    Ok(Measured { view, sample, mixed })
}

fn observation(photo: usize, row: &Row, sample: &Sample) -> Observation {
    Observation {
        photo,
        analyte: row.analyte,
        value: row.value,
        value_uncertainty: row.uncertainty,
        colour: sample.colour,
        unevenness: 0.0,
    }
}
