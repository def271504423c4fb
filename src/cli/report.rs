//! `report`: a tank's story, or all tanks', as one page to open, keep, print or send.

use std::collections::BTreeSet;
use std::path::PathBuf;

use anyhow::{Context, Result};
use chrono::{DateTime, FixedOffset};
use rayon::prelude::*;

use super::doubts::{self, Checks};
use super::kits::Kits;
use super::{Outcome, Settings, clock, history, logging, page_name, thumbnail};
use crate::cycle::{Assessment, TankHistory, assess};
use crate::log::{Entry, Live, Loaded, Log, Source};
use crate::report::page::{self, ChartUsed, EventRow, ReadingRow, Story};
use crate::terms::text::shown;

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell report --tank hallway --out hallway.html\n  tintwell report --out all.html"
)]
pub struct Args {
    /// The tank; without it all tanks on one page
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,

    /// Where to write the page; it needs no other file and no network
    #[arg(long, value_name = "FILE.html")]
    out: PathBuf,

    /// Tell it as of this moment, using nothing dated later [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

/// Writes the page.
///
/// # Errors
/// The log cannot be read, there is no such tank, or the page cannot be written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    // A name without an ending, such as that of a pipe, promises no other kind of file.
    if args.out.extension().is_some() {
        page_name::check(&args.out)?;
    }
    let at = clock::at_or_now(args.at.as_deref())?;
    let loaded = Log::at(&settings.home).load()?;
    logging::say_problems(loaded.problems());
    let chosen = history::chosen(&loaded, args.tank.as_deref())?;
    let histories: Vec<TankHistory> = chosen.iter().map(|tank| history::of(&loaded, tank)).collect();
    if args.at.is_none() {
        histories.iter().for_each(|history| history::say_later(history, at));
    }
    let assessments: Vec<Assessment> = histories.iter().map(|history| assess(history, at)).collect();
    let mut stories: Vec<Story> =
        assessments.iter().map(|assessment| story(&loaded, assessment, at)).collect();
    let (kits, checks) = (Kits::new(settings), Checks::of(&loaded));
    for story in &mut stories {
        add_looks(story, settings, &kits);
        story.charts = charts_used(story, &checks, &kits);
    }
    std::fs::write(&args.out, page::page(&stories, at))
        .with_context(|| format!("{}: cannot write the page: choose another file", args.out.display()))?;
    if settings.json {
        let line = serde_json::json!({ "file": args.out.display().to_string(), "tanks": chosen });
        println!("{line}");
    } else {
        println!("written to {}: open it in a browser", shown(&args.out));
    }
    Ok(Outcome::Done)
}

/// All that the log holds of a tank until a moment, by time.
fn story<'a>(loaded: &'a Loaded, assessment: &'a Assessment, at: DateTime<FixedOffset>) -> Story<'a> {
    let mut story = Story { assessment, readings: Vec::new(), events: Vec::new(), charts: Vec::new() };
    let all = loaded.live().map(|live| (live, false)).chain(loaded.withdrawn().map(|live| (live, true)));
    for (live, withdrawn) in all {
        let is_shown =
            live.entry.tank() == Some(&assessment.tank) && live.entry.at().is_some_and(|then| then <= at);
        if is_shown {
            take(&mut story, live, withdrawn);
        }
    }
    story.readings.sort_by_key(|row| (row.reading.measurement.taken_at, row.id));
    story.events.sort_by_key(|row| (row.event.at, row.id));
    story
}

/// Adds pictures of the latest samples; more would make the page too large to send.
fn add_looks(story: &mut Story, settings: &Settings, kits: &Kits) {
    const LATEST: usize = 100;
    let from_photos = |row: &&mut ReadingRow| matches!(row.reading.source, Source::Photo(_));
    let rows: Vec<&mut ReadingRow> =
        story.readings.iter_mut().rev().filter(from_photos).take(LATEST).collect();
    rows.into_par_iter().for_each(|row| row.look = thumbnail::of(row.reading, settings, kits));
}

/// The charts of the readings, with what the log's checks say of them up to the moment of judgement.
fn charts_used(story: &Story, checks: &Checks, kits: &Kits) -> Vec<ChartUsed> {
    let at = story.assessment.at;
    let of_photo = |row: &ReadingRow| match &row.reading.source {
        Source::Photo(photo) => photo.chart.clone(),
        _ => None,
    };
    let names: BTreeSet<String> = story.readings.iter().filter_map(of_photo).collect();
    let used = |name: String| {
        let chart = kits.get(&name).ok();
        let drifted = chart.as_ref().and_then(|chart| {
            let each = chart.scales.iter().map(|scale| scale.analyte);
            each.filter_map(|analyte| doubts::drifted_since(chart, analyte, checks)).min()
        });
        ChartUsed {
            checked: checks.last_of(&name, at),
            drifted: drifted.filter(|since| *since <= at),
            chart,
            name,
        }
    };
    names.into_iter().map(used).collect()
}

fn take<'a>(story: &mut Story<'a>, live: Live<'a>, withdrawn: bool) {
    let id = live.record.id.0;
    match live.entry {
        Entry::Reading(reading) => {
            let corrected = live.is_corrected();
            story.readings.push(ReadingRow { id, reading, withdrawn, corrected, look: None });
        }
        Entry::Event(event) => story.events.push(EventRow { id, event, withdrawn }),
        _ => {}
    }
}
