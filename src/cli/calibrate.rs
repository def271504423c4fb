//! `calibrate`: photos of standards -> a chart, with its quality report.

mod add;
mod found;
mod leaflet;
pub(super) mod strips;
mod swatches;
mod vials;

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use chrono::{DateTime, FixedOffset};

use super::standards_table::{self, Row};
use super::{Outcome, Settings, charts, clock, pictures};
use crate::chart::calibrate::{Observation, Photo as StandardPhoto, calibrate};
use crate::chart::history::{Revision, Source, Step};
use crate::chart::kept::Origin;
use crate::chart::{Chart, ChartError, Form, Leaflet};
use crate::colour::{MixedLight, PatchColours};
use crate::log::content_hash;
use crate::photo::{self, Photo, PhotoError};
use crate::pipeline::View;
use crate::report::{self, chart_quality};
use crate::sample::{Sample, StripForm};
use crate::terms::Analyte;

/// Arguments of `calibrate`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tintwell calibrate ammonia-june --standards standards.csv\n\nThe table's first line is photo,analyte,value; further columns are ignored, but for\nuncertainty_percent (standard uncertainty of the value)\nand window (1 to 4 from the left, on the card of four windows). Photos are sought beside the table.\nTake two or three photos of each of at least five levels, the blank among them, in the light\nin which you will read later.\n\nWith --form strip every photo has one row for each pad, in the order of the pads from the dipped\nend, or numbered from there in a column pad; the strip's measures are learnt from the photos.\n\nNo standards yet? Lay the kit's printed colour scale into the card's window:\n  tintwell calibrate ammonia-june --swatches scale.jpg --levels 0,0.25,0.5,1,2,4,8 --analyte ammonia\nLevels are taken from the left of a row, from the top of a column. Such a chart is provisional: its\nreadings are flagged and their intervals wider. Improve it with standards, a blank first:\n  tintwell calibrate ammonia-june --add blank.jpg=0 --add two.jpg=2\n\nWhat the leaflet says can be entered now or later, without photos:\n  tintwell calibrate ammonia-june --wait 5 --shake \"20 s\" --temperature 20..28 --expires 2031-09-30\nand `none` takes a fact out again:\n  tintwell calibrate ammonia-june --wait none"
)]
pub struct Args {
    /// The chart's name
    name: String,
    /// Table of photos and their known values: makes a chart
    #[arg(
        long,
        value_name = "FILE.csv",
        required_unless_present_any = ["swatches", "add", "wait", "shake", "temperature", "expires"],
        conflicts_with_all = ["swatches", "add"]
    )]
    standards: Option<PathBuf>,
    /// Photo of the kit's printed colour scale in the card's window: makes a provisional chart; may be
    /// given several times
    #[arg(long, value_name = "PHOTO", requires = "levels", conflicts_with = "add")]
    swatches: Vec<PathBuf>,
    /// Levels of the swatches, rising, from the left of a row or from the top of a column
    #[arg(long, value_name = "LEVEL,LEVEL,...", value_delimiter = ',', requires = "swatches")]
    levels: Vec<f64>,
    /// The first level is at the right of the row or at the bottom of the column
    #[arg(long, requires = "swatches")]
    reverse: bool,
    /// A photo of one more standard and its value, or a table as for --standards: improves the chart;
    /// may be given several times
    #[arg(long, value_name = "PHOTO=VALUE|FILE.csv")]
    add: Vec<String>,
    /// Take only the rows of this analyte
    #[arg(long)]
    analyte: Option<Analyte>,
    /// What kind of test it is
    #[arg(long, value_enum, default_value = "vial")]
    form: Form,
    /// What the kit's leaflet says
    #[command(flatten)]
    leaflet: leaflet::LeafletArgs,
    /// Where to write the chart [default: your data folder]
    #[arg(long, value_name = "FILE.json")]
    out: Option<PathBuf>,
    /// The strip's form, measured by hand, in place of what the photos show: JSON with length_mm,
    /// width_mm and pads from the dipped end, each with analyte, unit, centre_mm and size_mm
    #[arg(long, value_name = "FILE.json", requires = "standards")]
    strip_form: Option<PathBuf>,
    /// Where to draw which swatches or pads were found [default: NAME-found.png beside the chart]
    #[arg(long, value_name = "FILE.png")]
    found: Option<PathBuf>,
    /// Draw the chart's levels and their path
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
}

impl Args {
    /// The chart's file.
    fn file(&self, settings: &Settings) -> PathBuf {
        self.out.clone().unwrap_or_else(|| charts::file_of(settings, &self.name))
    }

    /// Draws the chart if that was asked for.
    fn draw(&self, chart: &Chart) -> Result<()> {
        if let Some((file, picture)) = self.picture.as_deref().zip(report::chart_picture::draw(chart)) {
            pictures::save(&picture, file)?;
        }
        Ok(())
    }
}

/// Makes a chart, or improves one.
///
/// # Errors
/// The table is wrong, too few photos can be measured, or the levels make no chart.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    charts::check_name(&args.name).map_err(anyhow::Error::msg)?;
    for picture in args.picture.iter().chain(&args.found) {
        pictures::format_of(picture)?;
    }
    args.leaflet.applied_to(&Leaflet::default())?;
    if !args.add.is_empty() {
        return add::run(args, settings);
    }
    if args.standards.is_none() && args.swatches.is_empty() {
        return leaflet::enter(args, settings);
    }
    let (measured, strip, found) = measure(args, settings)?;
    let Some(card_version) = measured.card_version else {
        bail!("none of the {} photos can be measured: see the reasons above", measured.refused);
    };
    let mut chart = calibrate(&args.name, args.form, card_version, &measured.photos, &measured.observations)?;
    chart.strip = strip;
    chart.expires = args.leaflet.expiry(None);
    let now = clock::now();
    chart.made_on = Some(now.format("%Y-%m-%d").to_string());
    // A damaged file is about to be replaced; what it held is lost already.
    let file = args.file(settings);
    let earlier = file.is_file().then(|| Chart::load(&file).ok()).flatten();
    // Another lot of the kit comes with the same leaflet, but with an expiry of its own.
    let known = earlier.as_ref().map(|earlier| earlier.leaflet.clone()).unwrap_or_default();
    chart.leaflet = args.leaflet.applied_to(&known)?;
    chart.history = history(earlier, &measured, now);
    finish(args, settings, &chart, (measured.refused, found.as_deref()))
}

/// What the photos show, the strip's form, and where the picture of what was found is.
fn measure(args: &Args, settings: &Settings) -> Result<(Measured, Option<StripForm>, Option<PathBuf>)> {
    let Some(table) = &args.standards else {
        let (measured, picture) = swatches::measure(args, settings)?;
        return Ok((measured, None, Some(picture)));
    };
    let rows = standards_table::read(table, args.analyte)?;
    match args.form {
        Form::Vial => Ok((vials::measure(table, &rows)?, None, None)),
        Form::Strip => {
            let picture = found::file(args, settings);
            let (measured, form) = strips::measure(&rows, args.strip_form.as_deref(), &picture)?;
            Ok((measured, Some(form), Some(picture)))
        }
    }
}

/// The chart that is there already, to be improved or told more, and its file.
fn chart_at_hand(args: &Args, settings: &Settings) -> Result<(PathBuf, Chart)> {
    let path = args.file(settings);
    if !path.is_file() {
        let known = charts::own_names(settings).join(", ");
        return Err(ChartError::NotFound { name: args.name.clone(), known }.into());
    }
    let chart = Chart::load(&path)?;
    Ok((path, chart))
}

/// The history of the chart that had this file before, and this making.
fn history(earlier: Option<Chart>, measured: &Measured, at: DateTime<FixedOffset>) -> Vec<Revision> {
    let mut history = earlier.map(|earlier| earlier.history).unwrap_or_default();
    let revision = history.last().map_or(1, |last| last.revision + 1);
    let source = |photo: &StandardPhoto| Source { photo: photo.name.clone(), hash: photo.hash.clone() };
    let photos = measured.photos.iter().map(source).collect();
    history.push(Revision { revision, at, step: Step::Made, photos, gains: Vec::new() });
    history
}

fn finish(
    args: &Args,
    settings: &Settings,
    chart: &Chart,
    (refused, found): (usize, Option<&Path>),
) -> Result<Outcome> {
    let path = args.file(settings);
    chart.save(&path)?;
    args.draw(chart)?;
    let made = chart_quality::Made { path: &path, refused, found };
    if settings.json {
        println!("{}", chart_quality::json(chart, &made)?);
    } else {
        print!("{}", chart_quality::text(chart, &made));
    }
    Ok(if refused > 0 { Outcome::Partly } else { Outcome::Done })
}

/// A whole photo, of which pictures are drawn, and the hash of its content.
fn open(path: &Path) -> Result<(Photo, String), PhotoError> {
    let bytes = photo::read_file(path)?;
    Ok((photo::from_bytes(&bytes)?, content_hash(&bytes)))
}

/// What a chart keeps of a photo. The pixels of many photos would not fit into memory.
struct Shown {
    card_version: u8,
    patches: PatchColours,
    hash: String,
}

impl Shown {
    fn new(view: View, hash: String) -> Self {
        Self { card_version: view.card.layout.version, patches: view.patches, hash }
    }
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
    /// Takes one photo in and gives its index; `None` for one that is there under another name.
    fn add_photo(&mut self, name: &str, shown: Shown, mixed: MixedLight) -> Result<Option<usize>> {
        let Shown { card_version: version, patches, hash } = shown;
        if let Some(same) = self.photos.iter().find(|photo| photo.hash == hash) {
            let reason = format!("it is the same photo as {}: it would count twice", same.name);
            self.leave_out(name, &reason);
            return Ok(None);
        }
        if *self.card_version.get_or_insert(version) != version {
            bail!(
                "{name}: another version of the card than in the photos before it: use one card for a chart"
            );
        }
        self.photos.push(StandardPhoto { name: name.to_owned(), hash, patches, mixed });
        Ok(Some(self.photos.len() - 1))
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
        origin: Origin::Solution,
    }
}
