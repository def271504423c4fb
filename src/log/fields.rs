//! Fields of a line that are read without copying, or faster than in general.
//!
//! A log of a million lines has two times in nearly each, and most of its words are of no use to who
//! reads it: words stay in the line, and times in the one form that is written here are read digit by digit.

use std::borrow::Cow;
use std::fmt;

use chrono::{DateTime, FixedOffset, NaiveDate, TimeZone};
use serde::de::{Deserializer, Error, Visitor};
use serde::{Deserialize, Serialize};

/// Words that are borrowed from the line unless something in them is escaped.
#[derive(Serialize)]
#[serde(transparent)]
pub(super) struct Words<'a>(pub Cow<'a, str>);

impl<'de: 'a, 'a> Deserialize<'de> for Words<'a> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Seen;
        impl<'de> Visitor<'de> for Seen {
            type Value = Cow<'de, str>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a string")
            }

            fn visit_borrowed_str<E: Error>(self, text: &'de str) -> Result<Self::Value, E> {
                Ok(Cow::Borrowed(text))
            }

            fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
                Ok(Cow::Owned(text.to_owned()))
            }
        }
        deserializer.deserialize_str(Seen).map(Self)
    }
}

/// A moment with its distance from UTC, as RFC 3339 writes it.
#[derive(Clone, Copy, Serialize)]
#[serde(transparent)]
pub(super) struct Moment(pub DateTime<FixedOffset>);

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Seen;
        impl Visitor<'_> for Seen {
            type Value = DateTime<FixedOffset>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an RFC 3339 formatted date and time string")
            }

            fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
                in_whole_seconds(text.as_bytes()).map_or_else(|| text.parse().map_err(E::custom), Ok)
            }
        }
        deserializer.deserialize_str(Seen).map(Self)
    }
}

/// A time like `2031-03-04T18:05:00+01:00`; `None` of any other form, which may be a time all the same.
fn in_whole_seconds(text: &[u8]) -> Option<DateTime<FixedOffset>> {
    let (clock, zone) = text.split_at_checked(19)?;
    let part = |range: std::ops::Range<usize>| digits(&clock[range]);
    if [4, 7, 10, 13, 16].map(|at| clock[at]) != *b"--T::" {
        return None;
    }
    let date = NaiveDate::from_ymd_opt(part(0..4)? as i32, part(5..7)?, part(8..10)?)?;
    let local = date.and_hms_opt(part(11..13)?, part(14..16)?, part(17..19)?)?;
    offset(zone)?.from_local_datetime(&local).single()
}

/// `Z` or a distance like `+01:00`.
fn offset(zone: &[u8]) -> Option<FixedOffset> {
    let (sign, hours, minutes) = match zone {
        b"Z" => return FixedOffset::east_opt(0),
        [b'+', h1, h2, b':', m1, m2] => (1, [*h1, *h2], [*m1, *m2]),
        [b'-', h1, h2, b':', m1, m2] => (-1, [*h1, *h2], [*m1, *m2]),
        _ => return None,
    };
    let (hours, minutes) = (digits(&hours)?, digits(&minutes)?);
    (minutes < 60).then(|| FixedOffset::east_opt(sign * (3600 * hours + 60 * minutes) as i32)).flatten()
}

fn digits(text: &[u8]) -> Option<u32> {
    text.iter()
        .try_fold(0, |number, digit| digit.is_ascii_digit().then(|| 10 * number + u32::from(digit - b'0')))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn words_are_borrowed_unless_they_are_escaped() {
        let words: Words = serde_json::from_str(r#""Lily pond""#).unwrap();
        assert!(matches!(words.0, Cow::Borrowed("Lily pond")));
        let words: Words = serde_json::from_str(r#""Lily \"pond\"""#).unwrap();
        assert_eq!(words.0, "Lily \"pond\"");
    }

    #[test]
    fn what_is_no_time_is_no_time_either_way() {
        for text in
            ["2031-02-30T10:00:00Z", "2031-03-04T24:00:00Z", "2031-03-04T10:00:00+01:60", "", "yesterday"]
        {
            assert_eq!(in_whole_seconds(text.as_bytes()), None, "{text}");
            assert!(serde_json::from_value::<Moment>(text.into()).is_err(), "{text}");
        }
    }

    #[test]
    fn other_forms_of_a_time_are_left_to_the_library() {
        for text in ["2031-03-04T10:00:00.25Z", "2031-03-04T23:59:60Z", "2031-03-04 10:00:00+01:00"] {
            assert_eq!(in_whole_seconds(text.as_bytes()), None, "{text}");
            let Moment(read) = serde_json::from_value(text.into()).unwrap();
            assert_eq!(read, text.parse::<DateTime<FixedOffset>>().unwrap());
        }
    }

    proptest! {
        /// The library is the reference.
        #[test]
        fn a_time_read_digit_by_digit_is_what_the_library_reads(
            seconds in -62_000_000_000i64..253_000_000_000,
            minutes in -1439i32..1440,
        ) {
            let zone = FixedOffset::east_opt(60 * minutes).unwrap();
            let written = zone.timestamp_opt(seconds, 0).unwrap().to_rfc3339();
            let read = in_whole_seconds(written.as_bytes()).unwrap();
            prop_assert_eq!(read, written.parse::<DateTime<FixedOffset>>().unwrap());
            prop_assert_eq!(read.to_rfc3339(), written);
        }

        #[test]
        fn whatever_is_taken_for_a_time_the_library_takes_too(text in "[0-9TZ:+-]{19,26}") {
            if let Some(read) = in_whole_seconds(text.as_bytes()) {
                prop_assert_eq!(text.parse::<DateTime<FixedOffset>>(), Ok(read));
            }
        }
    }
}
