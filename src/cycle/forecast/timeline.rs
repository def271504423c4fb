//! A history as the filter walks it: days since the start, mg/L, readings with their spread.

use chrono::{DateTime, FixedOffset};

use crate::cycle::TankHistory;
use crate::cycle::series::late;
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind};

/// Seconds in a day.
const DAY: f64 = 86_400.0;

/// Temperature assumed where nobody says otherwise, degrees Celsius (common practice, no source).
const USUAL_CELSIUS: f64 = 25.0;

/// Readings of temperature within so many days count for a moment.
const TEMPERATURE_WINDOW: f64 = 4.0;

/// What a test said of the water, in the analyte's default unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Told {
    /// About this much, with this standard uncertainty.
    About(f64, f64),
    /// More than this.
    Above(f64),
    /// Less than this.
    Below(f64),
}

/// Something to take into account.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum What {
    /// A reading.
    Test(Analyte, Told),
    /// A deed and its amount.
    Deed(EventKind, Option<f64>),
}

/// Something at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Days since the start.
    pub day: f64,
    /// What.
    pub what: What,
}

/// A tank's history in days.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    /// Day zero.
    pub start: DateTime<FixedOffset>,
    /// The moment of judging, days.
    pub now: f64,
    /// By time.
    pub moments: Vec<Moment>,
    temperatures: Vec<(f64, f64)>,
    set_point: Option<f64>,
}

impl Timeline {
    /// Lays out `history` up to `now`.
    pub fn new(history: &TankHistory, now: DateTime<FixedOffset>) -> Self {
        let firsts = [
            history.facts.started_at,
            history.measurements.iter().map(|m| m.taken_at).min(),
            history.deeds.iter().map(|d| d.at).min(),
        ];
        let start = firsts.into_iter().flatten().min().unwrap_or(now).min(now);
        let day = |at: DateTime<FixedOffset>| (at - start).num_milliseconds() as f64 / (1000.0 * DAY);
        let tests = history.measurements.iter().filter_map(|measurement| {
            Some(Moment {
                day: day(measurement.taken_at),
                what: What::Test(measurement.analyte, told(measurement)?),
            })
        });
        let deeds = history
            .deeds
            .iter()
            .map(|deed| Moment { day: day(deed.at), what: What::Deed(deed.kind, deed.amount) });
        let end = day(now);
        let mut moments: Vec<Moment> = tests.chain(deeds).filter(|moment| moment.day <= end).collect();
        moments.sort_by(|a, b| a.day.total_cmp(&b.day));
        // They set the conditions and weigh no tank.
        let temperatures: Vec<(f64, f64)> = moments.iter().filter_map(temperature).collect();
        moments.retain(|moment| temperature(moment).is_none());
        Self { start, now: end, moments, temperatures, set_point: history.facts.temperature_c }
    }

    /// Water temperature at `day`, to a quarter of a degree: readings nearby, else all readings,
    /// else the heater's set point.
    pub fn celsius(&self, day: f64) -> f64 {
        let mean = |near: f64| {
            let (sum, count) = self
                .temperatures
                .iter()
                .filter(|(at, _)| (at - day).abs() <= near)
                .fold((0.0, 0.0), |(sum, count), (_, celsius)| (sum + celsius, count + 1.0));
            (count > 0.0).then_some(sum / count)
        };
        let best = mean(TEMPERATURE_WINDOW).or_else(|| mean(f64::INFINITY)).or(self.set_point);
        (best.unwrap_or(USUAL_CELSIUS) * 4.0).round() / 4.0
    }

    /// The day of the first record, if by then the tank had run so long that anything may live in it.
    pub fn opens_late(&self) -> Option<f64> {
        late(self.moments.first().map(|moment| moment.day))
    }

    /// Ammonia, nitrite and nitrate as first read within a day of `day`, in the default units.
    pub fn first_levels(&self, day: f64) -> [Option<f64>; 3] {
        [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate].map(|analyte| {
            self.readings(analyte).next().filter(|(at, _)| *at < day + 1.0).map(|(_, value)| value)
        })
    }

    /// Readings of `analyte`: day and value, a bound counting as its value.
    pub fn readings(&self, analyte: Analyte) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.moments.iter().filter_map(move |moment| match moment.what {
            What::Test(of, told) if of == analyte => Some((moment.day, told.value())),
            _ => None,
        })
    }

    /// Deeds of `kind`: day and amount.
    pub fn deeds(&self, kind: EventKind) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.moments.iter().filter_map(move |moment| match moment.what {
            What::Deed(of, amount) if of == kind => Some((moment.day, amount.unwrap_or(0.0))),
            _ => None,
        })
    }
}

impl Told {
    /// The number, be it a value or a bound; a bound from above counts as zero.
    pub fn value(self) -> f64 {
        match self {
            Self::About(value, _) | Self::Above(value) => value,
            Self::Below(_) => 0.0,
        }
    }
}

/// A reading's temperature, if it is one.
fn temperature(moment: &Moment) -> Option<(f64, f64)> {
    match moment.what {
        What::Test(Analyte::Temperature, told) => Some((moment.day, told.value())),
        _ => None,
    }
}

/// What a measurement says, or `None` if it says nothing.
fn told(measurement: &Measurement) -> Option<Told> {
    match measurement.status {
        Status::Read => {
            let value = measurement.value?;
            // A low end cut off at zero says nothing of the spread: then the upper half is doubled.
            let spread = match (measurement.low, measurement.high) {
                (Some(low), Some(high)) if low > 0.0 => (high - low) / 3.92,
                (_, Some(high)) => (high - value).max(0.0) / 1.96,
                (Some(low), None) => (value - low).max(0.0) / 1.96,
                (None, None) => 0.1 * value,
            };
            Some(Told::About(value, spread))
        }
        Status::AboveRange => measurement.low.or(measurement.value).map(Told::Above),
        Status::BelowDetection => measurement.high.map(Told::Below),
        Status::Refused => None,
    }
}
