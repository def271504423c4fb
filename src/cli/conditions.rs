//! How the test was done, as far as it is told: when the reagents went in, how warm the water was.

use chrono::{DateTime, FixedOffset, TimeDelta};

use crate::log::{Entry, Loaded};
use crate::terms::Analyte;

/// A logged temperature farther in time than this tells nothing of a sample (common practice, no source).
const NEAR: TimeDelta = TimeDelta::hours(24);

/// How one photo's test was done.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Conditions {
    /// When the last reagent went in.
    pub mixed_at: Option<DateTime<FixedOffset>>,
    /// Temperature of the sample, degrees Celsius.
    pub water_c: Option<f64>,
}

/// The logged temperatures of all tanks.
pub struct Temperatures(Vec<(String, DateTime<FixedOffset>, f64)>);

impl Temperatures {
    /// Those that count in a log.
    pub fn of(log: &Loaded) -> Self {
        let temperatures = log.live().filter_map(|live| match live.entry {
            Entry::Reading(reading) if reading.measurement.analyte == Analyte::Temperature => {
                Some((reading.tank.clone(), reading.measurement.taken_at, reading.measurement.value?))
            }
            _ => None,
        });
        Self(temperatures.collect())
    }

    /// The one of a tank that lies nearest to a time, within a day.
    pub fn near(&self, tank: &str, at: DateTime<FixedOffset>) -> Option<f64> {
        let own = self.0.iter().filter(|(own, time, _)| own == tank && (*time - at).abs() <= NEAR);
        own.min_by_key(|(_, time, _)| (*time - at).abs()).map(|(_, _, celsius)| *celsius)
    }
}
