//! Times as people write them, turned into moments.

use std::fmt;

use chrono::{
    DateTime, Duration, FixedOffset, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone,
};

/// A moment, and what had to be assumed to find it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct When {
    /// The moment with its distance from UTC, which has no seconds.
    pub at: DateTime<FixedOffset>,
    /// What was assumed.
    pub assumed: Vec<Assumed>,
}

/// Something about a time that was not written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Assumed {
    /// No zone: the keeper's own was taken.
    OwnZone,
    /// No time of day: noon was taken.
    Noon,
    /// Written day first with points.
    DayFirst,
    /// The clock was set forward over this time: it was read as if it had not been.
    Skipped,
    /// The clock was set back and showed this time twice: the first was taken.
    Twice,
}

impl fmt::Display for Assumed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OwnZone => "no time zone is written: this computer's was taken",
            Self::Noon => "no time of day is written: noon was taken",
            Self::DayFirst => "dates with points were read as day.month.year",
            Self::Skipped => {
                "the clocks were set forward over this time, so it never was: it was read by the clock as it stood before; give an offset such as +01:00 to be sure"
            }
            Self::Twice => {
                "the clocks were set back and showed this time twice: the first was taken; give an offset such as +01:00 for the other"
            }
        })
    }
}

/// A text that is no time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is no time that is understood: write it like 2031-03-04T18:05:00+01:00 or \"2031-03-04 18:05\""
)]
pub struct NoTime(pub String);

/// Reads a time: RFC 3339, or a date with or without a time of day in `zone`.
///
/// # Errors
/// If it is neither, or is ambiguous like 03/04/2031.
pub fn parse<Z: TimeZone>(text: &str, zone: &Z) -> Result<When, NoTime> {
    let trimmed = text.trim();
    if let Ok(at) = DateTime::parse_from_rfc3339(trimmed) {
        return Ok(When { at, assumed: Vec::new() });
    }
    let (local, mut assumed) = clock_time(trimmed).ok_or_else(|| NoTime(text.to_owned()))?;
    let mut when = resolve(local, zone).ok_or_else(|| NoTime(text.to_owned()))?;
    assumed.append(&mut when.assumed);
    Ok(When { at: when.at, assumed })
}

fn clock_time(text: &str) -> Option<(NaiveDateTime, Vec<Assumed>)> {
    const FORMS: [(&str, bool); 6] = [
        ("%Y-%m-%dT%H:%M:%S%.f", false),
        ("%Y-%m-%d %H:%M:%S%.f", false),
        ("%Y-%m-%dT%H:%M", false),
        ("%Y-%m-%d %H:%M", false),
        ("%d.%m.%Y %H:%M:%S", true),
        ("%d.%m.%Y %H:%M", true),
    ];
    const DATES: [(&str, bool); 2] = [("%Y-%m-%d", false), ("%d.%m.%Y", true)];
    let day_first = |yes: bool| if yes { vec![Assumed::DayFirst] } else { Vec::new() };
    if let Some((clock, yes)) =
        FORMS.iter().find_map(|&(form, yes)| Some((NaiveDateTime::parse_from_str(text, form).ok()?, yes)))
    {
        return Some((clock, day_first(yes)));
    }
    let (date, yes) =
        DATES.iter().find_map(|&(form, yes)| Some((NaiveDate::parse_from_str(text, form).ok()?, yes)))?;
    let mut assumed = day_first(yes);
    assumed.push(Assumed::Noon);
    Some((date.and_time(NaiveTime::from_hms_opt(12, 0, 0)?), assumed))
}

/// Finds the moment at which the clocks of `zone` showed `local`; `None` outside the calendar.
pub fn resolve<Z: TimeZone>(local: NaiveDateTime, zone: &Z) -> Option<When> {
    let (offset, doubt) = match zone.offset_from_local_datetime(&local) {
        LocalResult::Single(offset) => (offset.fix(), None),
        LocalResult::Ambiguous(first, second) => {
            // The first passage has the larger distance from UTC.
            let (first, second) = (first.fix(), second.fix());
            let larger = if first.local_minus_utc() >= second.local_minus_utc() { first } else { second };
            (larger, Some(Assumed::Twice))
        }
        LocalResult::None => {
            let before = local.checked_sub_signed(Duration::hours(24))?;
            let offset = zone.offset_from_local_datetime(&before).earliest()?.fix();
            (offset, Some(Assumed::Skipped))
        }
    };
    let utc = local.checked_sub_offset(offset)?;
    // Old local mean times have seconds, which RFC 3339 cannot write; the moment stays.
    let minutes = (f64::from(offset.local_minus_utc()) / 60.0).round() as i32;
    let written = FixedOffset::east_opt(minutes * 60)?;
    let at = DateTime::from_naive_utc_and_offset(utc, written);
    // The calendar's very ends cannot be shown in every zone.
    utc.checked_add_offset(written)?;
    Some(When { at, assumed: std::iter::once(Assumed::OwnZone).chain(doubt).collect() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Central Europe's rule of 2031: +01:00, and +02:00 from 30 March 01:00 UTC to 26 October 01:00 UTC.
    #[derive(Debug, Clone, Copy)]
    struct CentralEurope;

    impl CentralEurope {
        fn is_summer(utc: NaiveDateTime) -> bool {
            let change =
                |month, day| NaiveDate::from_ymd_opt(2031, month, day).unwrap().and_hms_opt(1, 0, 0).unwrap();
            (change(3, 30)..change(10, 26)).contains(&utc)
        }
    }

    impl TimeZone for CentralEurope {
        type Offset = FixedOffset;
        fn from_offset(_: &FixedOffset) -> Self {
            Self
        }
        fn offset_from_local_date(&self, _: &NaiveDate) -> LocalResult<FixedOffset> {
            unreachable!("times of day only")
        }
        fn offset_from_local_datetime(&self, local: &NaiveDateTime) -> LocalResult<FixedOffset> {
            let fits: Vec<FixedOffset> = [2, 1]
                .map(|hours| FixedOffset::east_opt(hours * 3600).unwrap())
                .into_iter()
                .filter(|&offset| self.offset_from_utc_datetime(&(*local - offset)) == offset)
                .collect();
            match fits[..] {
                [one] => LocalResult::Single(one),
                [one, two] => LocalResult::Ambiguous(one, two),
                _ => LocalResult::None,
            }
        }
        fn offset_from_utc_date(&self, _: &NaiveDate) -> FixedOffset {
            unreachable!("times of day only")
        }
        fn offset_from_utc_datetime(&self, utc: &NaiveDateTime) -> FixedOffset {
            FixedOffset::east_opt(if Self::is_summer(*utc) { 7200 } else { 3600 }).unwrap()
        }
    }

    fn read(text: &str) -> (String, Vec<Assumed>) {
        let when = parse(text, &CentralEurope).unwrap();
        (when.at.to_rfc3339(), when.assumed)
    }

    #[test]
    fn a_time_with_its_offset_is_taken_as_it_is() {
        assert_eq!(read("2031-03-04T18:05:00-03:30"), ("2031-03-04T18:05:00-03:30".to_owned(), vec![]));
    }

    #[test]
    fn a_time_without_offset_is_of_the_own_zone() {
        use Assumed::{DayFirst, Noon, OwnZone};
        assert_eq!(read("2031-03-04 18:05"), ("2031-03-04T18:05:00+01:00".to_owned(), vec![OwnZone]));
        assert_eq!(read("2031-07-04T18:05"), ("2031-07-04T18:05:00+02:00".to_owned(), vec![OwnZone]));
        assert_eq!(read("2031-07-04"), ("2031-07-04T12:00:00+02:00".to_owned(), vec![Noon, OwnZone]));
        assert_eq!(read("4.7.2031 9:30"), ("2031-07-04T09:30:00+02:00".to_owned(), vec![DayFirst, OwnZone]));
    }

    #[test]
    fn a_time_the_clocks_skipped_is_read_by_the_clock_before() {
        use Assumed::{OwnZone, Skipped};
        assert_eq!(
            read("2031-03-30 02:30"),
            ("2031-03-30T02:30:00+01:00".to_owned(), vec![OwnZone, Skipped])
        );
    }

    #[test]
    fn of_a_time_that_was_twice_the_first_is_taken() {
        use Assumed::{OwnZone, Twice};
        assert_eq!(read("2031-10-26 02:30"), ("2031-10-26T02:30:00+02:00".to_owned(), vec![OwnZone, Twice]));
    }

    #[test]
    fn what_is_ambiguous_or_no_time_is_refused() {
        for text in ["03/04/2031", "yesterday", "", "2031-02-30", "2031-03-04 25:00", "1e9", "\u{1b}[2J"] {
            let message = parse(text, &CentralEurope).unwrap_err().to_string();
            assert!(message.contains("2031-03-04T18:05"), "{message}");
            assert!(!message.contains('\u{1b}'));
        }
    }

    #[test]
    fn years_at_the_edges_are_kept() {
        assert_eq!(read("0000-01-01T00:00:00Z").0, "0000-01-01T00:00:00+00:00");
        assert_eq!(read("9999-12-31T23:59:59Z").0, "9999-12-31T23:59:59+00:00");
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_panic(text in "\\PC{0,30}|[0-9:T .+-]{0,30}") {
            let _ = parse(&text, &CentralEurope);
        }
    }
}
