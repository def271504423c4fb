//! What the kit's leaflet says: entered when a chart is made, or later into a chart that is there.

use anyhow::{Context as _, Result, bail};
use chrono::NaiveDate;

use super::{Args, chart_at_hand};
use crate::chart::Leaflet;
use crate::cli::charts::NO_CHART as NONE;
use crate::cli::{Outcome, Settings};
use crate::terms::text::{printable, shown};

/// Options for the facts of a leaflet.
#[derive(Debug, Clone, clap::Args)]
pub struct LeafletArgs {
    /// Waiting time in the kit's leaflet, minutes from the last reagent to the photo; `read --mixed-at`
    /// checks it; `none` takes it out of the chart
    #[arg(long, value_name = "MINUTES", value_parser = minutes, allow_hyphen_values = true)]
    wait: Option<Entry<f64>>,
    /// How to shake, as the leaflet says; shown as a reminder; `none` takes it out
    #[arg(long, value_name = "TEXT", value_parser = text)]
    shake: Option<Entry<String>>,
    /// Water temperatures the leaflet allows, degrees Celsius, such as 20..28 or 18..; readings of colder
    /// water are flagged; `none` takes both ends out
    #[arg(long, value_name = "LOW..HIGH", value_parser = temperatures, allow_hyphen_values = true)]
    temperature: Option<Entry<Temperatures>>,
    /// Last day on which the reagents are good, YYYY-MM-DD; later readings are flagged; `none` takes it
    /// out
    #[arg(long, value_name = "DATE", value_parser = date)]
    expires: Option<Entry<NaiveDate>>,
}

/// What an option enters: a fact, or that there is none.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Entry<T> {
    Fact(T),
    None,
}

impl<T> Entry<T> {
    fn parse(text: &str, fact: impl FnOnce(&str) -> Result<T, String>) -> Result<Self, String> {
        if text == NONE { Ok(Self::None) } else { fact(text).map(Self::Fact) }
    }

    fn fact(self) -> Option<T> {
        match self {
            Self::Fact(fact) => Some(fact),
            Self::None => None,
        }
    }
}

/// Coldest and warmest, degrees Celsius.
type Temperatures = (Option<f64>, Option<f64>);

impl LeafletArgs {
    /// What a leaflet becomes with the facts given.
    ///
    /// # Errors
    /// They make no sense.
    pub fn applied_to(&self, known: &Leaflet) -> Result<Leaflet> {
        let mut leaflet = known.clone();
        if let Some(wait) = self.wait {
            leaflet.wait_minutes = wait.fact();
        }
        if let Some(shake) = &self.shake {
            leaflet.shake = shake.clone().fact();
        }
        match self.temperature {
            Some(Entry::Fact((low, high))) => {
                leaflet.coldest_c = low.or(leaflet.coldest_c);
                leaflet.warmest_c = high.or(leaflet.warmest_c);
            }
            Some(Entry::None) => (leaflet.coldest_c, leaflet.warmest_c) = (None, None),
            None => {}
        }
        match leaflet.check() {
            Ok(()) => Ok(leaflet),
            Err(why) => bail!("{why}"),
        }
    }

    /// What an expiry date becomes.
    pub fn expiry(&self, known: Option<NaiveDate>) -> Option<NaiveDate> {
        self.expires.map_or(known, Entry::fact)
    }
}

fn minutes(text: &str) -> Result<Entry<f64>, String> {
    let parse = |text: &str| {
        text.parse()
            .map_err(|_| format!("{text:?} is no number of minutes: write it like 5 or 7.5, or {NONE}"))
    };
    Entry::parse(text, parse)
}

fn text(text: &str) -> Result<Entry<String>, String> {
    Entry::parse(text, |text| Ok(text.to_owned()))
}

fn date(text: &str) -> Result<Entry<NaiveDate>, String> {
    let parse = |text: &str| {
        text.parse().map_err(|_| format!("{text:?} is no day: write it like 2031-09-30, or {NONE}"))
    };
    Entry::parse(text, parse)
}

fn temperatures(text: &str) -> Result<Entry<Temperatures>, String> {
    Entry::parse(text, range)
}

fn range(text: &str) -> Result<Temperatures, String> {
    let mend =
        || format!("{text:?} is no range of temperatures: write it like 20..28, 18.. or ..30, or {NONE}");
    let (low, high) = text.split_once("..").ok_or_else(mend)?;
    let end = |text: &str| match text.trim() {
        "" => Ok(None),
        number => number.parse::<f64>().ok().filter(|c| c.is_finite()).map(Some).ok_or_else(mend),
    };
    match (end(low)?, end(high)?) {
        (None, None) => Err(mend()),
        ends => Ok(ends),
    }
}

/// Enters facts and the expiry date into a chart that is there, or takes them out of it.
pub(super) fn enter(args: &Args, settings: &Settings) -> Result<Outcome> {
    let (path, mut chart) = chart_at_hand(args, settings)?;
    let together = || format!("together with what chart {:?} holds already", chart.name);
    let leaflet = args.leaflet.applied_to(&chart.leaflet).with_context(together)?;
    chart.leaflet = leaflet;
    chart.expires = args.leaflet.expiry(chart.expires);
    chart.save(&path)?;
    let expires = chart.expires.map(|date| date.to_string());
    if settings.json {
        let line = serde_json::json!({
            "chart": chart.name, "file": path.display().to_string(), "leaflet": chart.leaflet, "expires": expires,
        });
        println!("{line}");
    } else {
        println!("Chart {}", printable(&chart.name));
        let nothing = if chart.leaflet.is_empty() { "nothing entered" } else { "" };
        println!("Leaflet      {}{nothing}", chart.leaflet);
        expires.iter().for_each(|date| println!("Expires      {date}"));
        println!("Written to   {}", shown(&path));
    }
    Ok(Outcome::Done)
}
