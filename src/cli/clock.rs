//! The clock and the keeper's time zone: the only place that asks the system for them.

use anyhow::Result;
use chrono::{DateTime, FixedOffset, Local, SubsecRound, TimeDelta};

use crate::log::when::{self, Assumed};

/// Now, to the second, in the keeper's zone.
pub fn now() -> DateTime<FixedOffset> {
    Local::now().trunc_subsecs(0).fixed_offset()
}

/// The time given with an option, or now; what had to be assumed is said on standard error.
///
/// # Errors
/// If the text is no time.
pub fn at_or_now(text: Option<&str>) -> Result<DateTime<FixedOffset>> {
    let Some(text) = text else { return Ok(now()) };
    let when = when::parse(text, &Local)?;
    for assumed in &when.assumed {
        match assumed {
            // Typing a local time is the ordinary thing to do.
            Assumed::OwnZone => {}
            other => eprintln!("note: {} ({other})", when.at.to_rfc3339()),
        }
    }
    Ok(when.at)
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
