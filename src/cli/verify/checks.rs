//! `verify --log`: results kept as checks of the kit, and what the control chart says of them.

use anyhow::Result;

use super::{Dated, Row};
use crate::chart::Chart;
use crate::cli::doubts::{Checks, LIMITS, checks_of, drifted_since};
use crate::cli::{Settings, clock, logging};
use crate::log::{Check, Entry, Log};
use crate::reading::Status;
use crate::report::control_chart::Standing;

/// Logs every check that is not in the log yet; a photo that does not say its time counts as taken now.
pub(super) fn log(settings: &Settings, chart: &Chart, rows: &[Row], dated: &[Dated]) -> Result<()> {
    let log = Log::at(&settings.home);
    let before = log.load()?;
    let now = clock::now();
    let entries: Vec<Entry> = rows
        .iter()
        .zip(dated)
        .filter(|(_, (_, sighting))| sighting.status != Status::Refused)
        .map(|(row, (taken_at, sighting))| {
            Entry::Check(Check {
                chart: chart.name.clone(),
                analyte: row.analyte,
                known: row.value,
                value: sighting.value,
                low: sighting.low,
                high: sighting.high,
                at: taken_at.unwrap_or(now),
            })
        })
        .filter(|entry| !before.live().any(|live| live.entry == entry))
        .collect();
    if !entries.is_empty() {
        let appended = log.append(&entries, now)?;
        logging::say_torn(appended.torn.as_ref());
    }
    eprintln!("note: {} of {} checks are new and were logged", entries.len(), rows.len());
    let after = Checks::of(&log.load()?);
    for scale in &chart.scales {
        let checks = checks_of(chart, scale.analyte, &after);
        if let Some(standing) = Standing::of(&chart.name, scale.analyte, &checks, &LIMITS) {
            if settings.json {
                println!("{}", standing.json()?);
            } else {
                print!("{}", standing.text());
            }
        }
        if let Some(since) = drifted_since(chart, scale.analyte, &after) {
            eprintln!(
                "warning: the check of {} of {} lies beyond the action limits of three standard deviations: readings with chart {:?} are flagged from then on; check again, then make the chart anew or replace the reagents",
                scale.analyte,
                since.format("%Y-%m-%d %H:%M"),
                chart.name
            );
        }
    }
    Ok(())
}
