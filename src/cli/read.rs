//! `read`: photos -> readings, logged under a tank.

use std::borrow::Borrow;
use std::path::{Path, PathBuf};

use anyhow::Result;
use chrono::{DateTime, FixedOffset, Local, TimeDelta};
use rayon::prelude::*;

use super::doubts::Doubts;
use super::{Outcome, Settings, charts, clock, history, logging, pictures, thumbnail};
use crate::chart::Chart;
use crate::cycle::assess;
use crate::log::{Entry, Loaded, Log, PhotoSource, Reading, SampleBox, Source, content_hash, when};
use crate::photo::{self, CaptureTime};
use crate::pipeline::{self, Refusal, View};
use crate::reading::{Evidence, Measurement, Sighting, Status};
use crate::report::{self, picture};
use crate::terms::text::printable;

/// Arguments of `read`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell read --chart ammonia-june --tank hallway vial.jpg\n  tintwell read --chart ammonia-june --dry-run *.jpg\n  tintwell read --chart ammonia-june --dry-run --picture look.png vial.jpg\n\nWith the card of four windows, give one --chart for each window from the left.\nWithout --chart, your own charts are tried; a photo whose colour fits several is refused."
)]
pub struct Args {
    /// Photos to read
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// The chart's name or file; several for a card of several windows [default: the one of your own
    /// charts whose colours fit]
    #[arg(long)]
    chart: Vec<String>,
    /// Log the readings under this tank
    #[arg(long)]
    tank: Option<String>,
    /// Log nothing
    #[arg(long)]
    dry_run: bool,
    /// When the photos were taken, where they do not say it or say it wrongly
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Draw the photo with the card and what was measured, beside it the liquid among the chart's
    /// colours; with several photos one picture each: name-1.png, name-2.png, ...
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
}

/// One photo as it was read.
pub(super) struct PhotoRead {
    name: String,
    hash: Option<String>,
    captured: CaptureTime,
    /// What each window shows, or one refusal of the whole.
    pub(super) sightings: Vec<Sighting>,
    /// The samples, cut out small.
    samples: Vec<(SampleBox, Vec<u8>)>,
}

impl PhotoRead {
    /// Keeps the samples for the page.
    pub(super) fn keep_samples(&self, settings: &Settings) {
        let Some(hash) = &self.hash else { return };
        self.samples.iter().for_each(|(sample, jpeg)| thumbnail::keep(settings, hash, *sample, jpeg));
    }
}

/// Reads all photos, prints what was read, and logs it under the tank.
///
/// # Errors
/// A chart cannot be used, or the log cannot be written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let charts: Vec<Chart> = if args.chart.is_empty() {
        charts::own(settings)?
    } else {
        args.chart.iter().map(|name| charts::find(settings, name)).collect::<Result<_, _>>()?
    };
    let sightings = |view: &View| match args.chart.is_empty() {
        true => sightings_with_any(view, &charts),
        false => sightings(view, &charts),
    };
    let at = args.at.as_deref().map(|text| clock::at_or_now(Some(text))).transpose()?;
    args.picture.as_deref().map(pictures::format_of).transpose()?;
    let mut reads: Vec<PhotoRead> = args
        .photos
        .par_iter()
        .enumerate()
        .map(|(index, path)| {
            let picture = args.picture.as_deref();
            read_and_draw(
                path,
                sightings,
                picture.map(|name| pictures::numbered(name, index, args.photos.len())),
            )
        })
        .collect::<Result<_>>()?;
    let mut logged = Log::at(&settings.home).load()?;
    let doubts = Doubts::new(&charts, &logged);
    let mut refused = 0;
    let mut undated = 0;
    let mut all = 0;
    for read in &mut reads {
        let taken_at = at.or_else(|| instant(read.captured));
        read.sightings.iter_mut().for_each(|sighting| doubts.flag(sighting, taken_at));
        for sighting in &read.sightings {
            all += 1;
            refused += usize::from(sighting.status == Status::Refused);
            print(args, settings, read, sighting, taken_at)?;
        }
        if let (Some(tank), false) = (&args.tank, args.dry_run) {
            undated += usize::from(!log(settings, &mut logged, tank, read, taken_at)?);
        }
    }
    if let (Some(tank), false, false) = (&args.tank, args.dry_run, settings.json) {
        judge(settings, tank, reads.iter().filter_map(|read| at.or_else(|| instant(read.captured))).max())?;
    }
    Ok(match refused {
        0 if undated == 0 => Outcome::Done,
        n if n == all => Outcome::Nothing,
        _ => Outcome::Partly,
    })
}

/// A photo older than this is judged as of its own time: what it shows is no news of today.
const NEWS: TimeDelta = TimeDelta::days(2);

/// Says in a line where the tank stood at its latest photo, or stands now if that is recent.
fn judge(settings: &Settings, tank: &str, latest: Option<DateTime<FixedOffset>>) -> Result<()> {
    let loaded = Log::at(&settings.home).load()?;
    if !loaded.tanks().contains(&tank) {
        return Ok(());
    }
    let now = clock::now();
    let at = latest.filter(|&latest| latest > now || now - latest > NEWS).unwrap_or(now);
    let assessment = assess(&history::of(&loaded, tank), at);
    let verdict = report::verdict::headline(&assessment);
    let date = at.format("%Y-%m-%d %H:%M");
    println!("{}, as of {date}: {verdict}; more with `tintwell assess`", printable(tank));
    Ok(())
}

/// Reads one photo against the charts of its windows; gives the photo, small, if it is to be shown.
pub(super) fn read<C: Borrow<Chart>>(
    path: &Path,
    charts: &[C],
    keep: bool,
) -> (PhotoRead, Option<picture::Scaled>) {
    look(path, |view| sightings(view, charts), keep)
}

/// Reads one photo, and draws what was read if a picture is asked for.
fn read_and_draw(
    path: &Path,
    sightings: impl FnOnce(&View) -> Vec<Sighting>,
    picture: Option<PathBuf>,
) -> Result<PhotoRead> {
    let (read, shown) = look(path, sightings, picture.is_some());
    match (picture, shown) {
        (Some(file), Some(shown)) => pictures::save(&picture::draw(&shown, &read.sightings), &file)?,
        (Some(_), None) => eprintln!("{}: no picture of it: the photo cannot be opened", read.name),
        (None, _) => {}
    }
    Ok(read)
}

/// Reads one photo; what cannot be read comes back as refused. Keeps the photo, small, if it is to be shown.
fn look(
    path: &Path,
    sightings: impl FnOnce(&View) -> Vec<Sighting>,
    keep: bool,
) -> (PhotoRead, Option<picture::Scaled>) {
    let name = path.display().to_string();
    let (mut hash, mut captured, mut shown) = (None, CaptureTime::Unknown, None);
    let opened = photo::read_file(path).and_then(|bytes| {
        hash = Some(content_hash(&bytes));
        photo::from_bytes(&bytes)
    });
    let view = opened.map_err(Refusal::from).and_then(|photo| {
        captured = photo.captured;
        shown = keep.then(|| picture::Scaled::new(photo.to_srgb()));
        pipeline::look(photo)
    });
    let (sightings, samples) = match view {
        Ok(view) => {
            let sightings = sightings(&view);
            let samples = samples(&view, &sightings);
            (sightings, samples)
        }
        Err(refusal) => {
            (vec![Sighting::refused(None, None, refusal.to_string(), Evidence::default())], Vec::new())
        }
    };
    (PhotoRead { name, hash, captured, sightings, samples }, shown)
}

fn samples(view: &View, sightings: &[Sighting]) -> Vec<(SampleBox, Vec<u8>)> {
    let is_read = |sighting: &&Sighting| sighting.status != Status::Refused;
    let boxes = sightings.iter().filter(is_read).filter_map(sample_box);
    boxes.filter_map(|sample| Some((sample, thumbnail::cut(&view.photo, sample)?))).collect()
}

fn sample_box(sighting: &Sighting) -> Option<SampleBox> {
    sighting.sample_box().map(|(x, y, width, height)| SampleBox { x, y, width, height })
}

/// What each of the card's windows holds.
fn sightings<C: Borrow<Chart>>(view: &View, charts: &[C]) -> Vec<Sighting> {
    let windows = view.card.layout.windows;
    if windows.len() > 1 && charts.len() != windows.len() {
        let reason = format!(
            "the card has {} windows but {} charts were given: give one --chart for each window, from the left",
            windows.len(),
            charts.len()
        );
        return vec![Sighting::refused(None, None, reason, Evidence::default())];
    }
    let pairs = windows.iter().zip(charts);
    pairs.flat_map(|(&window, chart)| pipeline::read_window(view, window, chart.borrow())).collect()
}

/// What each of the card's windows holds, read with whichever chart its colours belong to.
fn sightings_with_any(view: &View, charts: &[Chart]) -> Vec<Sighting> {
    let windows = view.card.layout.windows;
    windows.iter().flat_map(|&window| pipeline::read_with_any(view, window, charts)).collect()
}

/// The moment of capture; a clock time without a zone is taken in the keeper's zone.
pub(super) fn instant(captured: CaptureTime) -> Option<DateTime<FixedOffset>> {
    match captured {
        CaptureTime::Instant(instant) => Some(instant),
        CaptureTime::LocalClock(clock) => when::resolve(clock, &Local).map(|when| when.at),
        CaptureTime::Unknown => None,
    }
}

fn print(
    args: &Args,
    settings: &Settings,
    read: &PhotoRead,
    sighting: &Sighting,
    taken_at: Option<DateTime<FixedOffset>>,
) -> Result<()> {
    if settings.json {
        let time = taken_at.map(|time| time.to_rfc3339());
        let line = report::json::SightingLine::new(&read.name, sighting, time, args.tank.as_deref());
        println!("{}", serde_json::to_string(&line)?);
    } else {
        print!("{}", report::sighting::text(&read.name, sighting));
    }
    Ok(())
}

/// Logs what gave a number, unless the photo is in the log already; says and tells if it has no time.
fn log(
    settings: &Settings,
    view: &mut Loaded,
    tank: &str,
    read: &PhotoRead,
    taken_at: Option<DateTime<FixedOffset>>,
) -> Result<bool> {
    let read_well = || read.sightings.iter().filter(|sighting| sighting.status != Status::Refused);
    if read_well().next().is_none() {
        return Ok(true);
    }
    let Some(taken_at) = taken_at else {
        eprintln!(
            "{}: the photo does not say when it was taken, so it was not logged: give the time with --at",
            printable(&read.name)
        );
        return Ok(false);
    };
    let entries: Vec<Entry> =
        read_well().filter_map(|sighting| entry(tank, read, sighting, taken_at)).collect();
    let hash = read.hash.as_deref().unwrap_or_default();
    let appended = Log::at(&settings.home).append_chosen(view, clock::now(), |seen| {
        Ok(if seen.has_photo(hash) { Vec::new() } else { entries.clone() })
    })?;
    logging::say_torn(appended.torn.as_ref());
    if !appended.ids.is_empty() {
        read.keep_samples(settings);
    } else {
        eprintln!("note: {} is in the log already and was not logged again", printable(&read.name));
    }
    if !settings.json {
        for (&id, entry) in appended.ids.iter().zip(&entries) {
            println!("  logged {}", logging::phrase(id, entry));
        }
    }
    Ok(true)
}

/// What is logged of a sighting; `None` if it has no analyte.
pub(super) fn entry(
    tank: &str,
    read: &PhotoRead,
    sighting: &Sighting,
    taken_at: DateTime<FixedOffset>,
) -> Option<Entry> {
    let measurement = Measurement {
        analyte: sighting.analyte?,
        status: sighting.status,
        value: sighting.value,
        low: sighting.low,
        high: sighting.high,
        taken_at,
        flags: sighting.flags.clone(),
    };
    let source = Source::Photo(PhotoSource {
        photo: read.name.clone(),
        hash: read.hash.clone()?,
        chart: sighting.chart.clone(),
        sample: sample_box(sighting),
        parts: None,
    });
    Some(Entry::Reading(Reading { tank: tank.to_owned(), measurement, source, note: String::new() }))
}
