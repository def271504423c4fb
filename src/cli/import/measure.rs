//! What a photo shows, by the image stages and the charts that it is told to be read with.

use super::Place;
use super::sheet::Sheet;
use crate::cli::Settings;
use crate::cli::conditions::{Conditions, Temperatures};
use crate::cli::doubts::{Checks, Doubts};
use crate::cli::identity::Told;
use crate::cli::kits::Kits;
use crate::cli::read::{self, PhotoRead, Reader};
use crate::cli::slips::Slips;
use crate::log::import::photos::{Job, Measured};
use crate::log::{Entry, Log, Source};
use crate::reading::Status;

/// What photos are measured with.
pub struct Measurer<'a> {
    settings: &'a Settings,
    sheet: Option<&'a Sheet>,
    kits: Kits<'a>,
    slips: Option<Slips>,
    known: Option<(Checks, Temperatures)>,
}

impl<'a> Measurer<'a> {
    /// With no chart loaded yet; photos are shown on the sheet.
    pub fn new(settings: &'a Settings, slips: Option<Slips>, sheet: Option<&'a Sheet>) -> Self {
        // A log that cannot be read stops the import elsewhere.
        let log = Log::at(&settings.home).load().ok();
        let known = log.map(|log| (Checks::of(&log), Temperatures::of(&log)));
        Self { settings, sheet, kits: Kits::new(settings), slips, known }
    }

    /// Measures one photo.
    ///
    /// # Errors
    /// Nothing tells its tank or chart, or one tells against the other, or the chart cannot be used.
    pub fn measure(&self, job: &Job, place: &Place) -> Result<Measured, String> {
        let charts = self.kits.of_windows(&place.charts)?;
        let told = Told { tank: place.tank.clone(), charts, charts_by: place.charts_by };
        if self.slips.is_none() {
            // No slip will tell what is missing: spare the reading.
            want_tank(told.tank.as_ref().map(|(tank, _)| tank.clone()), &[])?;
        }
        let reader = Reader { kits: &self.kits, slips: self.slips.as_ref() };
        let (mut photo, shown) = reader.read(&job.path, &told, self.sheet.is_some());
        if let Some((checks, temperatures)) = &self.known {
            let doubts = Doubts::new(photo.charts.iter().map(|chart| &**chart), checks);
            let taken_at = job.looked.taken_at;
            let water_c = photo.tank.as_deref().and_then(|tank| temperatures.near(tank, taken_at));
            let conditions = Conditions { mixed_at: None, water_c };
            let sightings = photo.sightings.iter_mut();
            sightings.for_each(|sighting| doubts.flag(sighting, Some(taken_at), &conditions));
        }
        if let (Some(sheet), Some(shown)) = (self.sheet, shown) {
            sheet.show(&job.path, shown, &photo.sightings);
        }
        if photo.sightings.iter().all(|sighting| sighting.analyte.is_none()) {
            return Err(reason(&photo));
        }
        let tank = want_tank(photo.tank.clone(), &photo.notes)?;
        photo.keep_samples(self.settings);
        Ok(measured(&tank, &photo, job))
    }
}

fn want_tank(tank: Option<String>, notes: &[String]) -> Result<String, String> {
    let why = || {
        let seen = notes.iter().map(|note| format!("; {note}")).collect::<String>();
        format!(
            "it is not told which tank the photo is of: give --tank NAME, or once --folder FOLDER=TANK{seen}"
        )
    };
    tank.ok_or_else(why)
}

/// Why a photo was refused as a whole.
fn reason(photo: &PhotoRead) -> String {
    let reasons: Vec<&str> =
        photo.sightings.iter().filter_map(|sighting| sighting.reason.as_deref()).collect();
    reasons.join("; ")
}

fn measured(tank: &str, photo: &PhotoRead, job: &Job) -> Measured {
    let mut measured = Measured { tank: tank.to_owned(), ..Measured::default() };
    for sighting in &photo.sightings {
        if sighting.status == Status::Refused {
            measured.refused.extend(sighting.reason.clone());
            continue;
        }
        if let Some(Entry::Reading(reading)) = read::entry(tank, photo, sighting, job.looked.taken_at)
            && let Source::Photo(source) = reading.source
        {
            measured.readings.push((reading.measurement, source));
        }
    }
    measured
}
