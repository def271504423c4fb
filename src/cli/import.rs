//! `import`: tables, tank files and photos into the log; safe to repeat.

use std::path::PathBuf;

use anyhow::{Result, bail};

use super::slips::Slips;
use super::{Outcome, Settings, clock, logging};
use crate::log::import::photos::{Job, Measured};
use crate::log::import::seen::Seen;
use crate::log::{Loaded, Log, check_name};

mod files;
mod folders;
mod measure;
mod photos;
mod sheet;
mod tables;
#[cfg(test)]
mod tests;
mod time;

use files::{Found, Kind};

/// Arguments of `import`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell import readings.csv events.csv tank.json\n  tintwell import --tank hallway --chart ammonia-june photos/\n  tintwell import --folder photos/hallway=hallway --chart-folder photos/hallway=ammonia-june photos/hallway\n  tintwell import --contact-sheet sheet.html photos/hallway\n  tintwell import --watch photos/hallway\n\nImporting again adds nothing twice."
)]
pub struct Args {
    /// Tables of readings or events (CSV), tank files (JSON), photos, or folders of them
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,

    /// Tank of photos that lie in no folder named with --folder
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,

    /// Remember that photos in a folder are of a tank; may be given several times
    #[arg(long, value_name = "FOLDER=TANK")]
    folder: Vec<String>,

    /// Chart of photos that lie in no folder named with --chart-folder; several for a card of several
    /// windows, from the left, `none` for a window that stays empty
    #[arg(long, value_name = "NAME")]
    chart: Vec<String>,

    /// Remember that photos in a folder are read with a chart; may be given several times
    #[arg(long, value_name = "FOLDER=CHART")]
    chart_folder: Vec<String>,

    /// Take no notice of tag slips on the card
    #[arg(long)]
    ignore_slips: bool,

    /// When photos were taken that say it neither in themselves nor in their names
    #[arg(long, value_name = "TIME")]
    at: Option<String>,

    /// Let a file's time of change stand for such photos; often it is the time of copying
    #[arg(long, conflicts_with = "at")]
    file_time: bool,

    /// Go on importing photos as they arrive in the folders
    #[arg(long)]
    watch: bool,

    /// Write a page with every photo, small, and what was found in it, or why it was refused
    #[arg(long, value_name = "FILE.html", conflicts_with = "watch")]
    contact_sheet: Option<PathBuf>,
}

/// What came of the files so far.
#[derive(Debug, Default)]
struct Tally {
    done: usize,
    troubled: usize,
}

impl Tally {
    const fn outcome(&self) -> Outcome {
        match (self.done, self.troubled) {
            (_, 0) => Outcome::Done,
            (0, _) => Outcome::Nothing,
            _ => Outcome::Partly,
        }
    }
}

/// Imports everything that is not in the log yet.
///
/// # Errors
/// If the log cannot be read or written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let sheet = args.contact_sheet.as_deref().map(sheet::Sheet::begin).transpose()?;
    let slips = (!args.ignore_slips).then(|| Slips::load(&settings.home)).transpose()?;
    let measurer = measure::Measurer::new(settings, slips, sheet.as_ref());
    run_with(args, settings, sheet.as_ref(), |job, place| measurer.measure(job, place))
}

/// What is told of a photo beside it.
pub struct Place {
    /// Its tank, and who says so.
    pub tank: Option<(String, &'static str)>,
    /// Charts of its windows; empty if not told.
    pub charts: Vec<String>,
    /// Who says so.
    pub charts_by: &'static str,
}

/// The same, where `measure` says what a photo shows and puts it on the sheet.
///
/// # Errors
/// If the log or the sheet cannot be read or written.
fn run_with(
    args: &Args,
    settings: &Settings,
    sheet: Option<&sheet::Sheet>,
    measure: impl Fn(&Job, &Place) -> Result<Measured, String> + Sync,
) -> Result<Outcome> {
    if let Some(tank) = &args.tank {
        check_name(tank).map_err(anyhow::Error::msg)?;
    }
    let folders = folders::Folders::load(&settings.home, &args.folder, &args.chart_folder)?;
    let at = args.at.as_deref().map(|text| clock::at_or_now(Some(text))).transpose()?;
    let fallback = time::Fallback::new(at, args.file_time, settings.json);
    let log = Log::at(&settings.home);
    let mut view = log.load()?;
    logging::say_problems(view.problems());
    let mut tally = Tally::default();
    let found = files::find(&args.paths);
    for (path, why) in &found.unreadable {
        tables::refuse(path, why, settings)?;
        tally.troubled += 1;
    }
    import_tables(&found, &log, &mut view, settings, &mut tally)?;
    if !found.passed_over.is_empty() {
        eprintln!(
            "note: {} files in folders are of other kinds and were passed over",
            found.passed_over.len()
        );
    }
    let measure = |job: &Job| measure(job, &place(args, &folders, job));
    let seen = Seen::default();
    let importer =
        photos::Importer { log: &log, view: &mut view, seen, fallback: &fallback, measure, sheet, settings };
    import_photos(args, &found, importer, &mut tally)?;
    Ok(tally.outcome())
}

/// What the folder or the options tell of a photo; the innermost folder comes before the options.
fn place(args: &Args, folders: &folders::Folders, job: &Job) -> Place {
    let by_folder = folders.tank(&job.path).map(|tank| (tank, "its folder (--folder)"));
    let tank = by_folder.or(args.tank.as_deref().map(|tank| (tank, "--tank")));
    let (charts, charts_by) = match folders.chart(&job.path) {
        Some(chart) => (vec![chart.to_owned()], "its folder (--chart-folder)"),
        None => (args.chart.clone(), "--chart"),
    };
    Place { tank: tank.map(|(tank, by)| (tank.to_owned(), by)), charts, charts_by }
}

fn import_photos<M: Fn(&Job) -> Result<Measured, String> + Sync>(
    args: &Args,
    found: &Found,
    mut importer: photos::Importer<M>,
    tally: &mut Tally,
) -> Result<()> {
    if args.watch {
        let watched: Vec<PathBuf> = args.paths.iter().filter(|path| path.is_dir()).cloned().collect();
        if watched.is_empty() {
            bail!("--watch needs a folder to watch");
        }
        return importer.watch(&watched);
    }
    let photos = found.files.iter().filter(|file| file.kind == Kind::Photo);
    let photos: Vec<PathBuf> = photos.map(|file| file.path.clone()).collect();
    let has_photos = !photos.is_empty();
    let summary = importer.import(photos)?;
    if has_photos {
        summary.say(importer.settings);
    }
    tally.done += usize::from(summary.has_used_any());
    tally.troubled += summary.mend.len();
    importer.sheet.map_or(Ok(()), |sheet| sheet.end(&summary.text()))
}

fn import_tables(
    found: &Found,
    log: &Log,
    view: &mut Loaded,
    settings: &Settings,
    tally: &mut Tally,
) -> Result<()> {
    let mut importer = tables::Importer::new(log, view, settings);
    for file in found.files.iter().filter(|file| file.kind != Kind::Photo) {
        if importer.import(file)? {
            tally.done += 1;
        }
        if importer.troubled() {
            tally.troubled += 1;
        }
    }
    Ok(())
}
