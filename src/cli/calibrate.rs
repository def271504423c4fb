//! `calibrate`: photos of standards -> a chart, with its quality report.

mod strips;
mod vials;

use std::path::PathBuf;

use anyhow::{Result, bail};
use chrono::NaiveDate;

use super::standards_table::{self, Row};
use super::{Outcome, Settings, charts, clock, pictures};
use crate::chart::calibrate::{Observation, Photo as StandardPhoto, calibrate};
use crate::chart::{Chart, Form};
use crate::colour::MixedLight;
use crate::pipeline::View;
use crate::report;
use crate::sample::Sample;
use crate::terms::Analyte;

/// Arguments of `calibrate`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tintwell calibrate ammonia-june --standards standards.csv\n\nThe table's first line is photo,analyte,value; further columns are ignored, but for\nuncertainty_percent (standard uncertainty of the value). Photos are sought beside the table.\nTake two or three photos of each of at least five levels, the blank among them, in the light\nin which you will read later.\n\nWith --form strip every photo has one row for each pad, in the order of the pads from the dipped\nend; the strip's measures are learnt from the photos."
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
    /// Last day on which the reagents are good, YYYY-MM-DD; later readings are flagged
    #[arg(long, value_name = "DATE")]
    expires: Option<NaiveDate>,
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
    let (measured, strip) = match args.form {
        Form::Vial => (vials::measure(&args.standards, &rows)?, None),
        Form::Strip => {
            let (measured, form) = strips::measure(&rows)?;
            (measured, Some(form))
        }
    };
    let Some(card_version) = measured.card_version else {
        bail!("none of the {} photos can be measured: see the reasons above", measured.refused);
    };
    let mut chart = calibrate(&args.name, args.form, card_version, &measured.photos, &measured.observations)?;
    chart.strip = strip;
    chart.expires = args.expires;
    chart.made_on = Some(clock::now().format("%Y-%m-%d").to_string());
    finish(args, settings, &chart, measured.refused)
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

/// What the photos of standards gave.
#[derive(Default)]
struct Measured {
    photos: Vec<StandardPhoto>,
    observations: Vec<Observation>,
    card_version: Option<u8>,
    refused: usize,
}

impl Measured {
    /// Takes one photo in and gives its index.
    fn add_photo(&mut self, name: &str, view: View, mixed: MixedLight) -> Result<usize> {
        let version = view.card.layout.version;
        if *self.card_version.get_or_insert(version) != version {
            bail!(
                "{name}: another version of the card than in the photos before it: use one card for a chart"
            );
        }
        self.photos.push(StandardPhoto { name: name.to_owned(), patches: view.patches, mixed });
        Ok(self.photos.len() - 1)
    }

    fn leave_out(&mut self, name: &str, reason: &dyn std::fmt::Display) {
        eprintln!("{name}: left out: {reason}");
        self.refused += 1;
    }
}

fn observation(photo: usize, row: &Row, sample: &Sample, unevenness: f64) -> Observation {
    Observation {
        photo,
        analyte: row.analyte,
        value: row.value,
        value_uncertainty: row.uncertainty,
        colour: sample.colour,
        unevenness,
    }
}
