//! The time in a photo's file name, where it is unmistakable.
//!
//! Understood are `20310304_180512` (with `-`, `_`, `T`, a space or nothing between, milliseconds
//! allowed), `2031-03-04 18.05.12` (with `-`, `_` or `.` in the date, seconds optional) and either date
//! alone. A name with two different dates says nothing. A folder's name says the date of the photos in it if it
//! is a date and nothing else.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

/// First and last years that a name may mean: other numbers of four digits are counters.
const YEARS: std::ops::RangeInclusive<i32> = 2001..=2099;

/// What a file name says of the time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NameTime {
    /// Date and time of day, by the clock of the place.
    Clock(NaiveDateTime),
    /// The date alone.
    Day(NaiveDate),
}

impl NameTime {
    const fn date(self) -> NaiveDate {
        match self {
            Self::Clock(clock) => clock.date(),
            Self::Day(date) => date,
        }
    }
}

/// A run of digits in a name.
struct Run<'a> {
    digits: &'a str,
    /// What stands between it and the run before.
    gap: &'a str,
}

/// The date that a folder's name says, where the name is nothing but a date.
pub fn folder_day(name: &str) -> Option<NaiveDate> {
    let is_bare = name.chars().all(|c| c.is_ascii_digit() || matches!(c, '-' | '_' | '.'));
    // A file's name has an ending, which is left out.
    match parse(&format!("{name}.")).filter(|_| is_bare)? {
        NameTime::Day(day) => Some(day),
        NameTime::Clock(_) => None,
    }
}

/// Reads the time in `name`, which is a file's name without its folder.
pub fn parse(name: &str) -> Option<NameTime> {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let runs = runs(stem);
    let found: Vec<NameTime> = (0..runs.len()).filter_map(|at| starting(&runs[at..])).collect();
    let first = *found.first()?;
    let agree = found.iter().all(|other| other.date() == first.date());
    // Of the same date, the first that has a time of day.
    let clock = found.iter().find(|time| matches!(time, NameTime::Clock(_)));
    agree.then(|| clock.copied().unwrap_or(first))
}

fn runs(text: &str) -> Vec<Run<'_>> {
    let (mut runs, mut rest) = (Vec::new(), text);
    while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
        let tail = &rest[start..];
        let end = tail.find(|c: char| !c.is_ascii_digit()).unwrap_or(tail.len());
        runs.push(Run { digits: &tail[..end], gap: &rest[..start] });
        rest = &tail[end..];
    }
    runs
}

/// The time that begins with the first of these runs.
fn starting(runs: &[Run]) -> Option<NameTime> {
    let first = runs.first()?;
    match first.digits.len() {
        14 | 17 => Some(NameTime::Clock(day(&first.digits[..8])?.and_time(clock(&first.digits[8..14])?))),
        8 => {
            let date = day(first.digits)?;
            let time = runs.get(1).filter(|next| {
                matches!(next.gap, "-" | "_" | "T" | " ") && matches!(next.digits.len(), 6 | 9)
            });
            Some(with_time(date, time.and_then(|next| clock(&next.digits[..6]))))
        }
        4 => {
            let [year, month, the_day, rest @ ..] = runs else { return None };
            let same = month.gap == the_day.gap && matches!(month.gap, "-" | "_" | ".");
            if !same || month.digits.len() != 2 || the_day.digits.len() != 2 {
                return None;
            }
            let date = day(&[year.digits, month.digits, the_day.digits].concat())?;
            Some(with_time(date, spaced_time(rest)))
        }
        _ => None,
    }
}

const fn with_time(date: NaiveDate, time: Option<NaiveTime>) -> NameTime {
    match time {
        Some(time) => NameTime::Clock(NaiveDateTime::new(date, time)),
        None => NameTime::Day(date),
    }
}

/// Hours, minutes and perhaps seconds in runs of their own, or in one.
fn spaced_time(runs: &[Run]) -> Option<NaiveTime> {
    let first = runs.first().filter(|run| matches!(run.gap, "-" | "_" | "T" | " " | " at " | ", "))?;
    if first.digits.len() == 6 {
        return clock(first.digits);
    }
    let minutes = runs.get(1).filter(|run| matches!(run.gap, "-" | "_" | "." | ":" | "h"))?;
    let seconds = runs.get(2).filter(|run| run.gap == minutes.gap && run.digits.len() == 2);
    let digits = [first.digits, minutes.digits, seconds.map_or("00", |run| run.digits)];
    digits.iter().all(|digits| digits.len() == 2).then(|| clock(&digits.concat()))?
}

/// A date of eight digits.
fn day(digits: &str) -> Option<NaiveDate> {
    let number = |range: std::ops::Range<usize>| digits.get(range)?.parse::<u32>().ok();
    let year = i32::try_from(number(0..4)?).ok()?;
    YEARS.contains(&year).then(|| NaiveDate::from_ymd_opt(year, number(4..6)?, number(6..8)?))?
}

/// A time of day of six digits.
fn clock(digits: &str) -> Option<NaiveTime> {
    let number = |range: std::ops::Range<usize>| digits.get(range)?.parse::<u32>().ok();
    NaiveTime::from_hms_opt(number(0..2)?, number(2..4)?, number(4..6)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(name: &str) -> String {
        match parse(name) {
            Some(NameTime::Clock(clock)) => clock.to_string(),
            Some(NameTime::Day(date)) => date.to_string(),
            None => "nothing".to_owned(),
        }
    }

    #[test]
    fn usual_names_say_when() {
        for (name, time) in [
            ("IMG_20310304_180512.jpg", "2031-03-04 18:05:12"),
            ("20310304T180512.png", "2031-03-04 18:05:12"),
            ("20310304180512.jpg", "2031-03-04 18:05:12"),
            ("tank_20310304_180512345.jpg", "2031-03-04 18:05:12"),
            ("2031-03-04 18.05.12.jpg", "2031-03-04 18:05:12"),
            ("Photo 2031-03-04 at 18.05.12 (2).jpg", "2031-03-04 18:05:12"),
            ("2031_03_04_18_05.webp", "2031-03-04 18:05:00"),
            ("2031-03-04_180512.jpg", "2031-03-04 18:05:12"),
            ("IMG-20310304-A0007.jpg", "2031-03-04"),
            ("2031.03.04 ammonia.jpg", "2031-03-04"),
            ("20310304_20310304_180512.jpg", "2031-03-04 18:05:12"),
        ] {
            assert_eq!(said(name), time, "{name}");
        }
    }

    #[test]
    fn doubtful_names_say_nothing() {
        for name in [
            "DSC01234.jpg",
            "IMG_1234.jpg",
            "12345678.jpg",
            "20311304_180512.jpg",
            "20310230.jpg",
            "20310304_20310305.jpg",
            "123456789012345678901234567890.jpg",
            "03-04-2031.jpg",
            "1999-03-04.jpg",
            "2031-03_04.jpg",
            "\u{0661}\u{0662}.jpg",
            "",
            ".jpg",
        ] {
            assert_eq!(said(name), "nothing", "{name}");
        }
    }

    #[test]
    fn a_folder_says_the_day_if_its_name_is_nothing_but_a_date() {
        let day = NaiveDate::from_ymd_opt(2031, 3, 4);
        for name in ["2031-03-04", "20310304", "2031.03.04", "2031_03_04"] {
            assert_eq!(folder_day(name), day, "{name}");
        }
        for name in ["copied 2031-03-04", "2031-03", "2031", "20310304_180512", "2031-02-30", ""] {
            assert_eq!(folder_day(name), None, "{name}");
        }
    }

    #[test]
    fn a_time_that_cannot_be_leaves_the_day() {
        assert_eq!(said("20310304_996199.jpg"), "2031-03-04");
    }

    proptest::proptest! {
        #[test]
        fn no_name_makes_the_reader_panic(name in "\\PC{0,40}|[0-9_. -]{0,40}") {
            let _ = parse(&name);
        }
    }
}
