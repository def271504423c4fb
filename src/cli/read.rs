//! `read`: photos -> readings, logged under a tank.

mod keep;
mod known;
mod photo;
mod windows;

use std::path::PathBuf;

use anyhow::Result;
use chrono::{DateTime, FixedOffset, Local};
use rayon::prelude::*;

use super::identity::Told;
use super::kits::Kits;
use super::slips::Slips;
use super::{Outcome, Settings, pictures};
use crate::log::{Log, when};
use crate::photo::CaptureTime;
use crate::reading::{Sighting, Status};
use crate::report;
use crate::terms::text::printable;

use known::Known;

pub(super) use keep::{Keeper, entry};
pub(super) use photo::{PhotoRead, Reader};

/// Arguments of `read`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell read --chart ammonia-june --tank hallway vial.jpg\n  tintwell read --chart ammonia-june --dry-run *.jpg\n  tintwell read --chart ammonia-june --dry-run --picture look.png vial.jpg\n  tintwell read --chart ammonia-june --tank hallway --mixed-at \"2031-03-04 18:00\" vial.jpg\n\nWith the card of four windows, give one --chart for each window from the\nleft, `none` for one that stays empty; other windows without a vial are skipped and said:\n  tintwell read --tank hallway --chart ammonia-four --chart nitrite-four --chart nitrate-four \\\n    --chart none three-vials.jpg\n\nA tag slip on the left of the card tells the tank, one on the right the chart (see `tintwell card\n--help`); a photo whose slip contradicts --tank or --chart is refused.\nWithout --chart and slip, your own charts are tried; a photo whose colour fits several is refused."
)]
pub struct Args {
    /// Photos to read
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// The chart's name or file; several for a card of several windows, from the left, `none` for a
    /// window that stays empty [default: the slip's on the card's right, else the one of your own
    /// charts whose colours fit]
    #[arg(long)]
    chart: Vec<String>,
    /// Log the readings under this tank [default: the slip's on the card's left]
    #[arg(long)]
    tank: Option<String>,
    /// Take no notice of tag slips on the card
    #[arg(long)]
    ignore_slips: bool,
    /// Log nothing
    #[arg(long)]
    dry_run: bool,
    /// When the photos were taken, where they do not say it or say it wrongly
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// When the last reagent went in: a photo that misses the waiting time of its chart's leaflet is
    /// flagged
    #[arg(long, value_name = "TIME")]
    mixed_at: Option<String>,
    /// Temperature of the sample, degrees Celsius: colder water than the chart's leaflet allows is flagged
    /// [default: the tank's logged temperature nearest in time, within a day]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true, value_parser = celsius)]
    temperature: Option<f64>,
    /// Draw the photo with the card and what was measured, beside it the liquid among the chart's
    /// colours; with several photos one picture each: name-1.png, name-2.png, ...
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
}

/// Reads all photos, prints what was read, and logs it under the tank.
///
/// # Errors
/// A chart cannot be used, or the log cannot be written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let kits = Kits::new(settings);
    let slips = (!args.ignore_slips).then(|| Slips::load(&settings.home)).transpose()?;
    let told = told(args, &kits, slips.as_ref())?;
    args.picture.as_deref().map(pictures::format_of).transpose()?;
    let log = Log::at(&settings.home).load()?;
    let known = Known::new(args, &log)?;
    let reader = Reader { kits: &kits, slips: slips.as_ref() };
    let picture =
        |index| args.picture.as_deref().map(|name| pictures::numbered(name, index, args.photos.len()));
    let reads: Vec<Result<PhotoRead>> = args
        .photos
        .par_iter()
        .enumerate()
        .map(|(index, path)| reader.read_and_draw(path, &told, &known, picture(index)))
        .collect();
    // The first photo's error is told, whichever came first.
    let reads: Vec<PhotoRead> = reads.into_iter().collect::<Result<_>>()?;
    let mut keeper = Keeper::new(settings, log);
    let mut tally = Tally::default();
    for read in &reads {
        let taken_at = known.taken_at(read);
        print(settings, read, taken_at)?;
        tally.count(&read.sightings);
        if !args.dry_run {
            tally.unlogged += usize::from(!keeper.keep(read, taken_at)?);
        }
    }
    if !settings.json {
        keeper.judge()?;
    }
    Ok(tally.outcome())
}

/// What the options tell; without a chart, and without slips that could name one, there must be own
/// charts to try.
fn told(args: &Args, kits: &Kits, slips: Option<&Slips>) -> Result<Told> {
    if args.chart.is_empty() && !slips.is_some_and(Slips::know_kits) {
        kits.own().map_err(anyhow::Error::msg)?;
    }
    Ok(Told {
        tank: args.tank.clone().map(|tank| (tank, "--tank")),
        charts: kits.of_windows(&args.chart).map_err(anyhow::Error::msg)?,
        charts_by: "--chart",
    })
}

fn celsius(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|celsius| (-5.0..=100.0).contains(celsius));
    number.ok_or_else(|| format!("{text:?} is no water temperature in degrees Celsius: write it like 24.5"))
}

/// How many sightings there were, and how many came to nothing.
#[derive(Default)]
struct Tally {
    all: usize,
    refused: usize,
    unlogged: usize,
}

impl Tally {
    fn count(&mut self, sightings: &[Sighting]) {
        self.all += sightings.len();
        self.refused += sightings.iter().filter(|sighting| sighting.status == Status::Refused).count();
    }

    const fn outcome(&self) -> Outcome {
        match (self.refused, self.unlogged) {
            (0, 0) => Outcome::Done,
            (refused, _) if refused == self.all => Outcome::Nothing,
            _ => Outcome::Partly,
        }
    }
}

/// The moment of capture; a clock time without a zone is taken in the keeper's zone.
pub(super) fn instant(captured: CaptureTime) -> Option<DateTime<FixedOffset>> {
    match captured {
        CaptureTime::Instant(instant) => Some(instant),
        CaptureTime::LocalClock(clock) => when::resolve(clock, &Local).map(|when| when.at),
        CaptureTime::Unknown => None,
    }
}

fn print(settings: &Settings, read: &PhotoRead, taken_at: Option<DateTime<FixedOffset>>) -> Result<()> {
    for note in &read.notes {
        eprintln!("{}: {}", printable(&read.name), printable(note));
    }
    for sighting in &read.sightings {
        if settings.json {
            let time = taken_at.map(|time| time.to_rfc3339());
            let line = report::json::SightingLine::new(&read.name, sighting, time, read.tank.as_deref());
            println!("{}", serde_json::to_string(&line)?);
        } else {
            print!("{}", report::sighting::text(&read.name, sighting));
        }
    }
    if !settings.json && !read.by_slips.is_empty() {
        println!("  by its slips: {}", printable(&read.by_slips.join(", ")));
    }
    Ok(())
}
