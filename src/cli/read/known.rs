//! What is known beside the photos and held against what was read in them: times told, the water's
//! temperature, checks of the kits.

use anyhow::{Result, bail};
use chrono::{DateTime, FixedOffset};

use super::photo::PhotoRead;
use super::{Args, instant};
use crate::cli::clock;
use crate::cli::conditions::{Conditions, Temperatures};
use crate::cli::doubts::{Checks, Doubts};
use crate::log::Loaded;
use crate::reading::Status;
use crate::terms::text::printable;

/// What the options and the log tell of the tests in the photos.
pub struct Known {
    /// When the photos were taken, whatever they say themselves.
    at: Option<DateTime<FixedOffset>>,
    mixed_at: Option<DateTime<FixedOffset>>,
    /// Temperature of the sample, degrees Celsius.
    water_c: Option<f64>,
    temperatures: Temperatures,
    checks: Checks,
}

impl Known {
    /// Gathers it.
    ///
    /// # Errors
    /// A time cannot be read.
    pub fn new(args: &Args, log: &Loaded) -> Result<Self> {
        let time =
            |text: &Option<String>| text.as_deref().map(|text| clock::at_or_now(Some(text))).transpose();
        Ok(Self {
            at: time(&args.at)?,
            mixed_at: time(&args.mixed_at)?,
            water_c: args.temperature,
            temperatures: Temperatures::of(log),
            checks: Checks::of(log),
        })
    }

    /// When a photo was taken, if it or an option says it.
    pub fn taken_at(&self, read: &PhotoRead) -> Option<DateTime<FixedOffset>> {
        self.at.or_else(|| instant(read.captured))
    }

    /// Flags what is known against the readings of a photo, and notes what could not be checked.
    ///
    /// # Errors
    /// The photo is older than its test.
    pub fn hold_against(&self, read: &mut PhotoRead) -> Result<()> {
        let taken_at = self.taken_at(read);
        self.check_mixed_before(&read.name, taken_at)?;
        let logged = || self.temperatures.near(read.tank.as_deref()?, taken_at?);
        let conditions = Conditions { mixed_at: self.mixed_at, water_c: self.water_c.or_else(logged) };
        let doubts = Doubts::new(read.charts.iter().map(|chart| &**chart), &self.checks);
        let of_time = if self.at.is_some() { None } else { read.captured.doubt() };
        for sighting in read.sightings.iter_mut().filter(|sighting| sighting.status != Status::Refused) {
            sighting.flags.extend(of_time);
            doubts.flag(sighting, taken_at, &conditions);
            read.notes.extend(doubts.unchecked(sighting, taken_at, &conditions));
        }
        // Pads of one strip share their chart's notes.
        read.notes.dedup();
        Ok(())
    }

    /// A test cannot be photographed before it is mixed.
    fn check_mixed_before(&self, photo: &str, taken_at: Option<DateTime<FixedOffset>>) -> Result<()> {
        match taken_at.zip(self.mixed_at) {
            Some((taken_at, mixed_at)) if taken_at < mixed_at => bail!(
                "{}: taken at {}, before --mixed-at {}: correct that time, or give the photo's with --at; nothing was logged",
                printable(photo),
                taken_at.to_rfc3339(),
                mixed_at.to_rfc3339()
            ),
            _ => Ok(()),
        }
    }
}
