//! The clock and the keeper's time zone: the only place that asks the system for them.

use anyhow::Result;
use chrono::{DateTime, FixedOffset, Local, NaiveDateTime, NaiveTime, SubsecRound, TimeDelta};

use crate::log::when::{self, Assumed};

/// Now, to the second, in the keeper's zone.
pub fn now() -> DateTime<FixedOffset> {
    Local::now().trunc_subsecs(0).fixed_offset()
}

/// The time given with an option, or now; what had to be assumed is said on standard error. A time of day alone
/// is the latest that has been.
///
/// # Errors
/// If the text is no time.
pub fn at_or_now(text: Option<&str>) -> Result<DateTime<FixedOffset>> {
    let Some(text) = text else { return Ok(now()) };
    let latest = latest(text, Local::now().naive_local()).and_then(|clock| when::resolve(clock, &Local));
    if let Some(when) = &latest {
        eprintln!("note: {} (no date is written: the latest such time was taken)", when.at.to_rfc3339());
    }
    let when = latest.map_or_else(|| when::parse(text, &Local), Ok)?;
    for assumed in &when.assumed {
        match assumed {
            // Typing a local time is the ordinary thing to do.
            Assumed::OwnZone => {}
            other => eprintln!("note: {} ({other})", when.at.to_rfc3339()),
        }
    }
    Ok(when.at)
}

/// The latest moment, by a clock that shows `now`, at which it showed the time of day in `text`; `None` if that is
/// no time of day.
fn latest(text: &str, now: NaiveDateTime) -> Option<NaiveDateTime> {
    let time = NaiveTime::parse_from_str(text.trim(), "%H:%M").ok()?;
    let today = now.date().and_time(time);
    if today <= now { Some(today) } else { now.date().pred_opt().map(|day| day.and_time(time)) }
}

/// What is odd about a time at which something is said to have happened.
pub fn doubt(at: DateTime<FixedOffset>, now: DateTime<FixedOffset>) -> Option<String> {
    if at - now > TimeDelta::days(1) {
        return Some(format!("{} lies in the future: check the date", at.to_rfc3339()));
    }
    if now - at > TimeDelta::days(50 * 365) {
        return Some(format!("{} is more than 50 years ago: check the date", at.to_rfc3339()));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn a_time_of_day_alone_is_the_latest_that_has_been() {
        let moment = |day, hour, minute| NaiveDate::from_ymd_opt(2031, 3, day)?.and_hms_opt(hour, minute, 0);
        let now = moment(4, 18, 5).unwrap();
        assert_eq!(latest("18:05", now), moment(4, 18, 5));
        assert_eq!(latest(" 07:30", now), moment(4, 7, 30));
        assert_eq!(latest("18:06", now), moment(3, 18, 6), "yesterday's");
        for other in ["25:00", "18", "18:00:00 ", "2031-03-04", ""] {
            assert_eq!(latest(other, now), None, "{other}");
        }
    }
}
