//! What is kept of a photo: its readings in the log, and a word on where the tank stands.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::{DateTime, FixedOffset};

use super::photo::{PhotoRead, sample_box};
use crate::cli::{Settings, clock, harm, history, logging};
use crate::cycle::assess;
use crate::log::{Entry, Loaded, Log, PhotoSource, Reading, Source};
use crate::reading::{Measurement, Sighting, Status};
use crate::report;
use crate::terms::text::printable;

/// Keeps readings, and remembers of which tanks.
pub struct Keeper<'a> {
    settings: &'a Settings,
    log: Loaded,
    /// The latest time of each tank's photos; `None` if none says its time.
    tanks: BTreeMap<String, Option<DateTime<FixedOffset>>>,
}

impl<'a> Keeper<'a> {
    /// With what has been logged so far.
    pub fn new(settings: &'a Settings, log: Loaded) -> Self {
        Self { settings, log, tanks: BTreeMap::new() }
    }

    /// Logs what gave a number, unless the photo is in the log already; tells whether there was
    /// nothing to hinder it, and says on standard error what did.
    ///
    /// # Errors
    /// The log cannot be written.
    pub fn keep(&mut self, read: &PhotoRead, taken_at: Option<DateTime<FixedOffset>>) -> Result<bool> {
        let read_well = || read.sightings.iter().filter(|sighting| sighting.status != Status::Refused);
        let Some(tank) = &read.tank else {
            let is_unclear = read.is_tank_unclear && read_well().next().is_some();
            if is_unclear {
                eprintln!(
                    "{}: the slip on it does not tell the tank, so it was not logged: give --tank, or tell the slip's meaning",
                    printable(&read.name)
                );
            }
            return Ok(!is_unclear);
        };
        let latest = self.tanks.entry(tank.clone()).or_default();
        *latest = (*latest).max(taken_at);
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
        self.write(read, &entries)?;
        Ok(true)
    }

    fn write(&mut self, read: &PhotoRead, entries: &[Entry]) -> Result<()> {
        let hash = read.hash.as_deref().unwrap_or_default();
        let log = Log::at(&self.settings.home);
        let appended = log.append_chosen(&mut self.log, clock::now(), |seen| {
            Ok(if seen.has_photo(hash) { Vec::new() } else { entries.to_vec() })
        })?;
        logging::say_torn(appended.torn.as_ref());
        if !appended.ids.is_empty() {
            read.keep_samples(self.settings);
        } else {
            eprintln!("note: {} is in the log already and was not logged again", printable(&read.name));
        }
        if !self.settings.json {
            for (&id, entry) in appended.ids.iter().zip(entries) {
                println!("  logged {}", logging::phrase(id, entry));
            }
        }
        Ok(())
    }

    /// Says in a line for each tank where it stands.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn judge(&self) -> Result<()> {
        if self.tanks.is_empty() {
            return Ok(());
        }
        let log = Log::at(&self.settings.home).load()?;
        self.tanks.iter().for_each(|(tank, latest)| judge(&log, tank, *latest));
        Ok(())
    }
}

/// Says in a line where the tank stood at its latest photo, or stands now if that is recent.
fn judge(log: &Loaded, tank: &str, latest: Option<DateTime<FixedOffset>>) {
    if !log.tanks().contains(&tank) {
        return;
    }
    let now = clock::now();
    let at = latest.filter(|&latest| latest > now || now - latest > harm::NEWS).unwrap_or(now);
    let assessment = assess(&history::of(log, tank), at);
    let verdict = report::verdict::headline(&assessment);
    let date = at.format("%Y-%m-%d %H:%M");
    println!("{}, as of {date}: {verdict}; more with `tintwell assess`", printable(tank));
    harm::told(&assessment).iter().for_each(|line| println!("  {line}"));
}

/// What is logged of a sighting; `None` if it has no analyte.
pub fn entry(
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
