//! A history as numbers: readings grouped into tests, in mg/L as N, with their error and bounds.

use chrono::{DateTime, Duration, FixedOffset};

use super::history::{Deed, TankHistory};
use crate::reading::{Measurement, Status};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};
use crate::terms::{Analyte, EventKind, Flag};

/// Ratio of nominal to true volume, which a dose reckoned on the nominal volume is multiplied by: gravel,
/// decor and the unfilled rim make the true volume 5 to 15 % less.
pub const VOLUME_FACTOR: f64 = 1.0 / 0.91;
/// Standard deviation of [`VOLUME_FACTOR`] between tanks.
pub const VOLUME_FACTOR_SD: f64 = 0.05;

/// Age up to which a test of ammonia, nitrite, pH or alkalinity speaks for today, days (judgement, no source).
pub const RECENT_DAYS: f64 = 7.0;

/// Background of colour tests near zero, mg/L of the ion: a true zero reads as anything up to about 0.1.
pub const ZERO_READS_UP_TO: f64 = 0.1;

/// A tank that ran so many days before its first record may hold any colony: start-ups take weeks.
const UNSEEN_DAYS: f64 = 21.0;

/// Readings further apart than this are two tests.
const ONE_TEST: Duration = Duration::minutes(60);

/// 95 % of a normal distribution lies within this many standard deviations.
const Z95: f64 = 1.96;

/// A value with its error, or a bound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Best estimate, or the bound if `above`.
    pub value: f64,
    /// Standard deviation of the error of this one reading.
    pub sd: f64,
    /// Whether the truth lies at or above `value`: the chart ends there.
    pub above: bool,
    /// Whether zero lies within the reading's 95 % interval.
    pub reaches_zero: bool,
}

impl Level {
    /// The level in a unit that is `factor` times larger.
    fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, sd: self.sd * factor, ..self }
    }

    /// Upper end of the 95 % interval; infinite past the chart's end.
    pub fn upper(&self) -> f64 {
        if self.above { f64::INFINITY } else { self.value + Z95 * self.sd }
    }

    /// Lower end of the 95 % interval.
    pub fn lower(&self) -> f64 {
        if self.above { self.value } else { (self.value - Z95 * self.sd).max(0.0) }
    }
}

/// What one test session saw.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Days since the series' origin.
    pub day: f64,
    /// Total ammonia, mg/L as N.
    pub ammonia: Option<Level>,
    /// Nitrite, mg/L as N.
    pub nitrite: Option<Level>,
    /// Nitrate, mg/L as N; coarse, and some tests see nitrite as nitrate.
    pub nitrate: Option<Level>,
    /// pH.
    pub ph: Option<Level>,
    /// Temperature, °C.
    pub temperature: Option<Level>,
    /// Alkalinity, meq/L.
    pub alkalinity: Option<Level>,
}

impl Sample {
    fn new(at: DateTime<FixedOffset>, day: f64) -> Self {
        Self {
            at,
            day,
            ammonia: None,
            nitrite: None,
            nitrate: None,
            ph: None,
            temperature: None,
            alkalinity: None,
        }
    }

    /// The level of one analyte.
    pub fn level(&self, analyte: Analyte) -> Option<Level> {
        match analyte {
            Analyte::Ammonia => self.ammonia,
            Analyte::Nitrite => self.nitrite,
            Analyte::Nitrate => self.nitrate,
            Analyte::Ph => self.ph,
            Analyte::Temperature => self.temperature,
            Analyte::Alkalinity => self.alkalinity,
        }
    }

    fn slot(&mut self, analyte: Analyte) -> &mut Option<Level> {
        match analyte {
            Analyte::Ammonia => &mut self.ammonia,
            Analyte::Nitrite => &mut self.nitrite,
            Analyte::Nitrate => &mut self.nitrate,
            Analyte::Ph => &mut self.ph,
            Analyte::Temperature => &mut self.temperature,
            Analyte::Alkalinity => &mut self.alkalinity,
        }
    }
}

/// A deed with its day.
#[derive(Debug, Clone, PartialEq)]
pub struct DatedDeed {
    /// Days since the series' origin.
    pub day: f64,
    /// The deed.
    pub deed: Deed,
}

impl DatedDeed {
    /// The amount, or the kind's neutral default where the keeper gave none.
    pub fn amount(&self) -> f64 {
        self.deed.amount.unwrap_or(0.0).max(0.0)
    }
}

/// A history as numbers, by time.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Day zero: when the tank was filled, or the first record.
    pub origin: DateTime<FixedOffset>,
    /// The moment at which the tank is judged, days since the origin.
    pub now: f64,
    /// Tests, by time.
    pub samples: Vec<Sample>,
    /// Deeds, by time.
    pub deeds: Vec<DatedDeed>,
    /// Readings left out, and why.
    pub left_out: Vec<String>,
}

impl Series {
    /// Builds the series of `history` as known at `now`; order of the input does not matter.
    pub fn new(history: &TankHistory, now: DateTime<FixedOffset>) -> Self {
        let history = history.known_at(now);
        let first = history
            .measurements
            .iter()
            .map(|measurement| measurement.taken_at)
            .chain(history.deeds.iter().map(|deed| deed.at))
            .min();
        let origin = [history.facts.started_at, first].into_iter().flatten().min().unwrap_or(now);
        // Times are told in the zone of the moment of judgement.
        let origin = origin.with_timezone(&now.timezone());
        let mut series = Self {
            origin,
            now: days(now - origin),
            samples: Vec::new(),
            deeds: history
                .deeds
                .iter()
                .map(|deed| DatedDeed { day: days(deed.at - origin), deed: deed.clone() })
                .collect(),
            left_out: Vec::new(),
        };
        for measurement in &history.measurements {
            series.take(measurement);
        }
        series
    }

    fn take(&mut self, measurement: &Measurement) {
        let level = match level_of(measurement) {
            Ok(level) => level,
            Err(why) => {
                let at = measurement.taken_at.format("%Y-%m-%d %H:%M");
                self.left_out.push(format!("{} of {at}: {why}", measurement.analyte));
                return;
            }
        };
        let at = measurement.taken_at;
        let fits = self.samples.last().is_some_and(|last| {
            at - last.at < ONE_TEST
                && last.level(measurement.analyte).is_none()
                && (at == last.at || self.deeds_until(last.at) == self.deeds_until(at))
        });
        if !fits {
            self.samples.push(Sample::new(at, days(at - self.origin)));
        }
        if let Some(sample) = self.samples.last_mut() {
            *sample.slot(measurement.analyte) = Some(level);
        }
    }

    /// Number of deeds done up to `at`.
    fn deeds_until(&self, at: DateTime<FixedOffset>) -> usize {
        self.deeds.partition_point(|deed| deed.deed.at <= at)
    }

    /// Days from `first` to `last` alone, judged on `last`.
    pub fn between(&self, first: f64, last: f64) -> Self {
        let within = |day: f64| (first..=last).contains(&day);
        Self {
            origin: self.origin,
            now: last,
            samples: self.samples.iter().filter(|sample| within(sample.day)).cloned().collect(),
            deeds: self.deeds.iter().filter(|deed| within(deed.day)).cloned().collect(),
            left_out: Vec::new(),
        }
    }

    /// The day of the first record, if by then the tank had run so long that anything may live in it.
    pub fn opens_late(&self) -> Option<f64> {
        let firsts = [self.samples.first().map(|s| s.day), self.deeds.first().map(|d| d.day)];
        late(firsts.into_iter().flatten().min_by(f64::total_cmp))
    }

    /// The moment `day` days after the origin.
    pub fn moment(&self, day: f64) -> DateTime<FixedOffset> {
        self.origin + Duration::seconds((day * 86_400.0).round() as i64)
    }

    /// The latest level of `analyte` and its day.
    pub fn latest(&self, analyte: Analyte) -> Option<(f64, Level)> {
        self.samples.iter().rev().find_map(|sample| Some((sample.day, sample.level(analyte)?)))
    }

    /// Deeds of one kind, by time.
    pub fn of_kind(&self, kind: EventKind) -> impl DoubleEndedIterator<Item = &DatedDeed> {
        self.deeds.iter().filter(move |deed| deed.deed.kind == kind)
    }
}

/// The day of a tank's first record, if by then the tank had run so long that anything may live in it.
pub fn late(first: Option<f64>) -> Option<f64> {
    first.filter(|first| *first > UNSEEN_DAYS)
}

/// Days in a duration.
pub fn days(duration: Duration) -> f64 {
    duration.num_milliseconds() as f64 / 86_400_000.0
}

/// Highest value of each analyte that is no slip of the pen, default unit.
const fn believable(analyte: Analyte) -> (f64, f64) {
    match analyte {
        Analyte::Ammonia => (0.0, 500.0),
        Analyte::Nitrite => (0.0, 500.0),
        Analyte::Nitrate => (0.0, 2_000.0),
        Analyte::Ph => (3.0, 11.0),
        Analyte::Temperature => (0.5, 45.0),
        Analyte::Alkalinity => (0.0, 30.0),
    }
}

/// Factor from the default unit to the unit of a [`Sample`].
const fn to_sample_unit(analyte: Analyte) -> f64 {
    match analyte {
        Analyte::Ammonia => 1.0 / NH3_PER_N,
        Analyte::Nitrite => 1.0 / NO2_PER_N,
        Analyte::Nitrate => 1.0 / NO3_PER_N,
        Analyte::Ph | Analyte::Temperature | Analyte::Alkalinity => 1.0,
    }
}

/// Error of a reading that came without an interval, default unit (colour tests by eye: about a quarter of
/// the value; common practice, no source).
fn usual_sd(analyte: Analyte, value: f64) -> f64 {
    match analyte {
        Analyte::Ammonia | Analyte::Nitrite => (0.13 * value).max(0.06),
        Analyte::Nitrate => (0.2 * value).max(2.5),
        Analyte::Ph => 0.2,
        Analyte::Temperature => 0.5,
        Analyte::Alkalinity => 0.2,
    }
}

fn level_of(measurement: &Measurement) -> Result<Level, String> {
    let analyte = measurement.analyte;
    let (least, most) = believable(analyte);
    let unit = analyte.default_unit();
    let check = |value: f64| {
        if value.is_finite() && (least..=most).contains(&value) {
            Ok(value)
        } else {
            Err(format!("{value} {unit} is impossible; correct or withdraw the reading"))
        }
    };
    let level = match measurement.status {
        Status::Refused => return Err("the photo was refused".to_owned()),
        Status::AboveRange => {
            let bound = measurement.low.or(measurement.value).ok_or("no bound is given")?;
            let bound = check(bound)?;
            Level { value: bound, sd: 0.5 * usual_sd(analyte, bound), above: true, reaches_zero: false }
        }
        Status::BelowDetection => {
            let bound = check(measurement.high.unwrap_or(2.0 * usual_sd(analyte, 0.0)))?;
            Level { value: 0.0, sd: bound / Z95, above: false, reaches_zero: true }
        }
        Status::Read => {
            let value = check(measurement.value.ok_or("no value is given")?)?;
            let sd = sd_of(measurement, value);
            let low = measurement.low.unwrap_or(value - Z95 * sd);
            Level { value, sd, above: false, reaches_zero: low <= 0.0 }
        }
    };
    Ok(level.scaled(to_sample_unit(analyte)))
}

/// Standard deviation from the 95 % interval; the lower half is cut off where the interval meets zero,
/// the upper one where it meets the chart's end.
fn sd_of(measurement: &Measurement, value: f64) -> f64 {
    let floor = 0.3 * usual_sd(measurement.analyte, 0.0);
    let ends_with_chart = measurement.flags.contains(&Flag::AboveChart);
    let sd = match (measurement.low, measurement.high) {
        (Some(low), Some(_)) if low > 0.0 && ends_with_chart => (value - low) / Z95,
        (Some(low), Some(high)) if low > 0.0 => (high - low) / (2.0 * Z95),
        (_, Some(high)) => (high - value) / Z95,
        (Some(low), None) => (value - low) / Z95,
        (None, None) => usual_sd(measurement.analyte, value),
    };
    if sd.is_finite() { sd.max(floor) } else { usual_sd(measurement.analyte, value) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::TankFacts;
    use approx::assert_relative_eq;

    fn at(text: &str) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339(text).unwrap()
    }

    fn reading(analyte: Analyte, value: f64, taken_at: &str) -> Measurement {
        Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: Some(value - 0.196),
            high: Some(value + 0.196),
            taken_at: at(taken_at),
            flags: Vec::new(),
        }
    }

    fn history(measurements: Vec<Measurement>) -> TankHistory {
        TankHistory { facts: TankFacts::default(), measurements, deeds: Vec::new() }
    }

    #[test]
    fn readings_of_one_session_become_one_sample_in_nitrogen() {
        let series = Series::new(
            &history(vec![
                reading(Analyte::Nitrite, 3.284_43, "2031-03-02T10:20:00+01:00"),
                reading(Analyte::Ammonia, 1.215_89, "2031-03-02T10:00:00+01:00"),
                reading(Analyte::Ammonia, 1.0, "2031-03-01T10:00:00+01:00"),
            ]),
            at("2031-03-03T10:00:00+01:00"),
        );
        assert_eq!(series.samples.len(), 2);
        assert_relative_eq!(series.samples[1].ammonia.unwrap().value, 1.0, epsilon = 1e-5);
        assert_relative_eq!(series.samples[1].nitrite.unwrap().value, 1.0, epsilon = 1e-5);
        assert_relative_eq!(series.samples[1].day, 1.0, epsilon = 1e-9);
        assert_relative_eq!(series.now, 2.0, epsilon = 1e-9);
    }

    #[test]
    fn nothing_later_than_the_moment_is_seen() {
        let series = Series::new(
            &history(vec![reading(Analyte::Ammonia, 1.0, "2031-03-01T10:00:00+01:00")]),
            at("2031-02-01T10:00:00+01:00"),
        );
        assert!(series.samples.is_empty());
    }

    #[test]
    fn an_impossible_value_is_left_out_with_a_reason() {
        let series = Series::new(
            &history(vec![reading(Analyte::Ph, 74.0, "2031-03-01T10:00:00+01:00")]),
            at("2031-03-02T10:00:00+01:00"),
        );
        assert!(series.samples.is_empty());
        assert!(series.left_out[0].contains("74 pH is impossible"), "{:?}", series.left_out);
    }

    #[test]
    fn the_half_of_an_interval_that_the_charts_end_cuts_off_says_nothing_of_the_error() {
        let cut = Measurement {
            value: Some(4.5),
            low: Some(2.54),
            high: Some(5.0),
            flags: vec![Flag::AboveChart],
            ..reading(Analyte::Ammonia, 4.5, "2031-03-01T10:00:00+01:00")
        };
        assert_relative_eq!(sd_of(&cut, 4.5), 1.0, epsilon = 1e-6);
        let whole = Measurement { flags: Vec::new(), ..cut };
        assert_relative_eq!(sd_of(&whole, 4.5), 2.46 / (2.0 * Z95), epsilon = 1e-6);
    }

    #[test]
    fn a_reading_past_the_chart_is_a_lower_bound() {
        let past = Measurement {
            status: Status::AboveRange,
            value: None,
            low: Some(5.1),
            high: None,
            ..reading(Analyte::Ammonia, 0.0, "2031-03-01T10:00:00+01:00")
        };
        let level = level_of(&past).unwrap();
        assert!(level.above && level.upper().is_infinite() && !level.reaches_zero);
        assert_relative_eq!(level.lower(), 5.1 / NH3_PER_N, epsilon = 1e-9);
    }
}
