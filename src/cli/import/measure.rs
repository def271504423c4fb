//! What a photo shows, by the image stages and the charts that it is told to be read with.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::Place;
use super::sheet::Sheet;
use crate::chart::Chart;
use crate::cli::doubts::Doubts;
use crate::cli::{Settings, charts, read};
use crate::log::import::photos::{Job, Measured};
use crate::log::{Entry, Loaded, Log, Source};
use crate::reading::Status;
use crate::terms::Flag;

/// Charts, each loaded once.
pub struct Kits<'a> {
    settings: &'a Settings,
    sheet: Option<&'a Sheet>,
    log: Option<Loaded>,
    loaded: Mutex<HashMap<String, Result<Arc<Chart>, String>>>,
}

impl<'a> Kits<'a> {
    /// None loaded yet.
    pub fn new(settings: &'a Settings, sheet: Option<&'a Sheet>) -> Self {
        // A log that cannot be read stops the import elsewhere.
        Self { settings, sheet, log: Log::at(&settings.home).load().ok(), loaded: Mutex::default() }
    }

    fn get(&self, name: &str) -> Result<Arc<Chart>, String> {
        // A panic elsewhere leaves the map as it was.
        let mut loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
        let load = || charts::find(self.settings, name).map(Arc::new).map_err(|error| error.to_string());
        loaded.entry(name.to_owned()).or_insert_with(load).clone()
    }
}

/// Measures one photo.
///
/// # Errors
/// If its tank or chart is not told, or the chart cannot be used.
pub fn measure(job: &Job, place: &Place, kits: &Kits) -> Result<Measured, String> {
    let tank = place
        .tank
        .clone()
        .ok_or("it is not told which tank the photo is of: give --tank NAME, or once --folder FOLDER=TANK")?;
    if place.charts.is_empty() {
        return Err(format!(
            "it is not told which chart to read the photo with: give --chart NAME, or once --chart-folder FOLDER=CHART; there are {}",
            charts::known(kits.settings).join(", ")
        ));
    }
    let charts = place.charts.iter().map(|name| kits.get(name)).collect::<Result<Vec<_>, _>>()?;
    let (mut photo, shown) = read::read(&job.path, &charts, kits.sheet.is_some());
    if let Some(log) = &kits.log {
        let doubts = Doubts::new(charts.iter().map(|chart| &**chart), log);
        photo.sightings.iter_mut().for_each(|sighting| doubts.flag(sighting, Some(job.looked.taken_at)));
    }
    if let (Some(sheet), Some(shown)) = (kits.sheet, shown) {
        sheet.show(&job.path, shown, &photo.sightings);
    }
    photo.keep_samples(kits.settings);
    let mut measured = Measured { tank, ..Measured::default() };
    for sighting in &photo.sightings {
        if sighting.status == Status::Refused {
            measured.refused.extend(sighting.reason.clone());
            continue;
        }
        if let Some(Entry::Reading(mut reading)) =
            read::entry(&measured.tank, &photo, sighting, job.looked.taken_at)
            && let Source::Photo(source) = reading.source
        {
            // Whether the time is in doubt was found out before, with more to go by than the photo.
            reading
                .measurement
                .flags
                .retain(|flag| !matches!(flag, Flag::TimeUnknown | Flag::TimeZoneUnknown));
            measured.readings.push((reading.measurement, source));
        }
    }
    Ok(measured)
}
