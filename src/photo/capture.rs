//! When a photo was taken.

use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, NaiveDateTime};

use crate::terms::Flag;

/// When a photo was taken, as far as its file says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CaptureTime {
    /// The clock time and its distance from UTC were recorded.
    Instant(DateTime<FixedOffset>),
    /// The clock time of the place where it was taken; which zone that was is not recorded.
    LocalClock(NaiveDateTime),
    /// Not recorded, or not plausible.
    Unknown,
}

/// First and last plausible years: before, phones took no such photos and clocks were never set.
const PLAUSIBLE_YEARS: std::ops::RangeInclusive<i32> = 2001..=2099;

/// Largest distance of a civil time zone from UTC, minutes.
const MAX_OFFSET_MINUTES: i16 = 14 * 60;

impl CaptureTime {
    /// What is doubtful about a reading's time that rests on this alone.
    pub const fn doubt(self) -> Option<Flag> {
        match self {
            Self::Instant(_) => None,
            Self::LocalClock(_) => Some(Flag::TimeZoneUnknown),
            Self::Unknown => Some(Flag::TimeUnknown),
        }
    }

    /// From the EXIF texts of a time (`YYYY:MM:DD HH:MM:SS`) and of its offset (`+HH:MM`).
    ///
    /// An implausible time is [`CaptureTime::Unknown`]; an implausible offset leaves the clock time.
    pub(super) fn from_exif(time: &[u8], offset: Option<&[u8]>) -> Self {
        let Ok(mut exif) = exif::DateTime::from_ascii(time) else { return Self::Unknown };
        let Some(clock) = clock_time(&exif) else { return Self::Unknown };
        let parsed = offset.is_some_and(|text| exif.parse_offset(text).is_ok());
        let minutes = exif.offset.filter(|minutes| parsed && minutes.abs() <= MAX_OFFSET_MINUTES);
        let zone = minutes.and_then(|minutes| FixedOffset::east_opt(i32::from(minutes) * 60));
        match zone.and_then(|zone| clock.and_local_timezone(zone).single()) {
            Some(instant) => Self::Instant(instant),
            None => Self::LocalClock(clock),
        }
    }

    /// The clock time, with or without its zone.
    pub fn clock(&self) -> Option<NaiveDateTime> {
        match self {
            Self::Instant(instant) => Some(instant.naive_local()),
            Self::LocalClock(clock) => Some(*clock),
            Self::Unknown => None,
        }
    }
}

fn clock_time(exif: &exif::DateTime) -> Option<NaiveDateTime> {
    let date = NaiveDate::from_ymd_opt(exif.year.into(), exif.month.into(), exif.day.into())?;
    let clock = date.and_hms_opt(exif.hour.into(), exif.minute.into(), exif.second.into())?;
    PLAUSIBLE_YEARS.contains(&date.year()).then_some(clock)
}
