//! The options that all entries typed by hand share: of which tank, when, and a note.

use anyhow::Result;
use chrono::{DateTime, FixedOffset};

use super::{clock, logging};
use crate::log::check_name;

/// Of which tank an entry is, when it happened, and what else there is to say.
#[derive(Debug, clap::Args)]
pub struct EntryArgs {
    /// The tank; it is made if it is new
    #[arg(long, value_name = "NAME")]
    pub tank: String,

    /// When it was done or the water was sampled, e.g. "2031-03-04 18:05" in your own time zone; 18:05 alone
    /// is the latest that has been [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,

    /// Your own words
    #[arg(long, default_value = "")]
    pub note: String,
}

impl EntryArgs {
    /// The time told, or now; warns if it is odd.
    ///
    /// # Errors
    /// The name cannot be a tank's, or the text is no time.
    pub fn time(&self, now: DateTime<FixedOffset>) -> Result<DateTime<FixedOffset>> {
        check_name(&self.tank).map_err(anyhow::Error::msg)?;
        let at = clock::at_or_now(self.at.as_deref())?;
        logging::warn(clock::doubt(at, now));
        Ok(at)
    }
}
