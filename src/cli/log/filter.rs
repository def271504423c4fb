//! Which entries are wanted.

use anyhow::Result;
use chrono::{DateTime, FixedOffset};
use clap::builder::PossibleValuesParser;

use crate::cli::clock;
use crate::log::Entry;
use crate::terms::{Analyte, EventKind};

/// Filters as typed.
#[derive(Debug, clap::Args)]
pub struct FilterArgs {
    /// Only this tank
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,

    /// Only readings of this analyte
    #[arg(long)]
    analyte: Option<Analyte>,

    /// Only events of this kind
    #[arg(long, conflicts_with = "analyte")]
    event: Option<EventKind>,

    /// Only readings from this source
    #[arg(long, value_parser = PossibleValuesParser::new(["photo", "hand", "csv"]))]
    source: Option<String>,

    /// Only what happened at this time or later
    #[arg(long, value_name = "TIME")]
    since: Option<String>,

    /// Only what happened before this time
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
}

/// Filters with their times understood.
pub struct Filter<'a> {
    args: &'a FilterArgs,
    since: Option<DateTime<FixedOffset>>,
    until: Option<DateTime<FixedOffset>>,
}

impl FilterArgs {
    /// Understands the times.
    pub fn resolve(&self) -> Result<Filter<'_>> {
        let time =
            |text: &Option<String>| text.as_deref().map(|text| clock::at_or_now(Some(text))).transpose();
        Ok(Filter { args: self, since: time(&self.since)?, until: time(&self.until)? })
    }
}

impl Filter<'_> {
    /// Whether the entry is a reading or event that passes all filters.
    pub fn accepts(&self, entry: &Entry) -> bool {
        let args = self.args;
        let kind = match entry {
            Entry::Reading(reading) => {
                args.event.is_none()
                    && args.analyte.is_none_or(|analyte| analyte == reading.measurement.analyte)
                    && args.source.as_deref().is_none_or(|source| source == reading.source.word())
            }
            Entry::Event(event) => {
                args.analyte.is_none()
                    && args.source.is_none()
                    && args.event.is_none_or(|kind| kind == event.kind)
            }
            _ => false,
        };
        kind && args.tank.as_deref().is_none_or(|tank| entry.tank() == Some(tank))
            && entry.at().is_some_and(|at| {
                self.since.is_none_or(|since| at >= since) && self.until.is_none_or(|until| at < until)
            })
    }
}
