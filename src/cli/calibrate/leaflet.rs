//! What the kit's leaflet says: entered when a chart is made, or later into a chart that is there.

use anyhow::{Result, bail};

use super::{Args, chart_at_hand};
use crate::chart::Leaflet;
use crate::cli::{Outcome, Settings};

/// Options for the facts of a leaflet.
#[derive(Debug, Clone, clap::Args)]
pub struct LeafletArgs {
    /// Waiting time in the kit's leaflet, minutes from the last reagent to the photo; `read --mixed-at`
    /// checks it
    #[arg(long, value_name = "MINUTES", allow_negative_numbers = true)]
    wait: Option<f64>,
    /// How to shake, as the leaflet says; shown as a reminder
    #[arg(long, value_name = "TEXT")]
    shake: Option<String>,
    /// Water temperatures the leaflet allows, degrees Celsius, such as 20..28 or 18..; readings of colder
    /// water are flagged
    #[arg(long, value_name = "LOW..HIGH", value_parser = temperatures, allow_hyphen_values = true)]
    temperature: Option<Temperatures>,
}

/// Coldest and warmest, degrees Celsius.
type Temperatures = (Option<f64>, Option<f64>);

impl LeafletArgs {
    /// The facts given.
    ///
    /// # Errors
    /// They make no sense.
    pub fn facts(&self) -> Result<Leaflet> {
        let (coldest_c, warmest_c) = self.temperature.unwrap_or_default();
        let facts = Leaflet { wait_minutes: self.wait, shake: self.shake.clone(), coldest_c, warmest_c };
        match facts.check() {
            Ok(()) => Ok(facts),
            Err(why) => bail!("{why}"),
        }
    }
}

fn temperatures(text: &str) -> Result<Temperatures, String> {
    let mend = || format!("{text:?} is no range of temperatures: write it like 20..28, 18.. or ..30");
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

/// Enters facts, and the expiry date if one is given, into a chart that is there.
pub(super) fn enter(args: &Args, settings: &Settings) -> Result<Outcome> {
    let (path, mut chart) = chart_at_hand(args, settings)?;
    chart.leaflet = chart.leaflet.changed_by(&args.leaflet.facts()?);
    if let Err(why) = chart.leaflet.check() {
        bail!("together with what chart {:?} holds already: {why}", chart.name);
    }
    chart.expires = args.expires.or(chart.expires);
    chart.save(&path)?;
    let expires = chart.expires.map(|date| date.to_string());
    if settings.json {
        let line = serde_json::json!({
            "chart": chart.name, "file": path.display().to_string(), "leaflet": chart.leaflet, "expires": expires,
        });
        println!("{line}");
    } else {
        println!("Chart {}", chart.name);
        println!("Leaflet      {}", chart.leaflet);
        expires.iter().for_each(|date| println!("Expires      {date}"));
        println!("Written to   {}", path.display());
    }
    Ok(Outcome::Done)
}
