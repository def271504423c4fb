//! What the leaflet of a kit says of how it is used, as far as the keeper entered it.

use std::fmt;

use chrono::TimeDelta;
use serde::{Deserialize, Serialize};

use crate::terms::text::printable;

/// No test of this kind is waited for longer, minutes.
const MOST_MINUTES: f64 = 240.0;
/// Temperatures that a leaflet can mean, degrees Celsius.
const TEMPERATURES_C: std::ops::RangeInclusive<f64> = 0.0..=50.0;
/// Longest text on shaking, characters.
const MOST_TEXT: usize = 200;
/// A photo may be off the waiting time by this share of it, and by a minute at least (common practice,
/// no source).
const WAIT_TOLERANCE: f64 = 0.25;
const LEAST_TOLERANCE_MINUTES: f64 = 1.0;

/// Facts of a kit's leaflet; in a chart's file the object `leaflet`, absent if none was entered.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Leaflet {
    /// From the last reagent to the moment when the colour counts, minutes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wait_minutes: Option<f64>,
    /// How to shake, in the keeper's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shake: Option<String>,
    /// Coldest water the kit works with, degrees Celsius.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coldest_c: Option<f64>,
    /// Warmest water the kit works with, degrees Celsius.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub warmest_c: Option<f64>,
}

impl Leaflet {
    /// Whether nothing was entered.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether its facts make sense.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn check(&self) -> Result<(), String> {
        if self.wait_minutes.is_some_and(|minutes| !(minutes > 0.0 && minutes <= MOST_MINUTES)) {
            return Err(format!(
                "a waiting time is more than 0 and at most {MOST_MINUTES} minutes, written like 5 or 7.5"
            ));
        }
        if self.shake.as_ref().is_some_and(|text| text.trim().is_empty() || text.chars().count() > MOST_TEXT)
        {
            return Err(format!("how to shake is told in 1 to {MOST_TEXT} characters"));
        }
        if [self.coldest_c, self.warmest_c].iter().flatten().any(|c| !TEMPERATURES_C.contains(c)) {
            return Err("the kit's temperatures lie between 0 and 50 degrees Celsius".to_owned());
        }
        match (self.coldest_c, self.warmest_c) {
            (Some(coldest), Some(warmest)) if coldest >= warmest => Err(format!(
                "the kit's temperatures are the wrong way round: the lower one comes first, as in {warmest}..{coldest}"
            )),
            _ => Ok(()),
        }
    }

    /// Whether a photo so long after mixing misses the waiting time; `None` if none was entered.
    pub fn misses_wait(&self, waited: TimeDelta) -> Option<bool> {
        let wait = self.wait_minutes?;
        let off = (waited.num_seconds() as f64 / 60.0 - wait).abs();
        Some(off > (WAIT_TOLERANCE * wait).max(LEAST_TOLERANCE_MINUTES))
    }

    /// Whether water of this temperature is colder than the kit allows.
    pub fn is_too_cold(&self, water_c: f64) -> bool {
        self.coldest_c.is_some_and(|coldest| water_c < coldest)
    }

    /// Whether water of this temperature is warmer than the kit allows.
    pub fn is_too_warm(&self, water_c: f64) -> bool {
        self.warmest_c.is_some_and(|warmest| water_c > warmest)
    }
}

impl fmt::Display for Leaflet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let temperature = match (self.coldest_c, self.warmest_c) {
            (Some(coldest), Some(warmest)) => Some(format!("water of {coldest} to {warmest} °C")),
            (Some(coldest), None) => Some(format!("water of at least {coldest} °C")),
            (None, Some(warmest)) => Some(format!("water of at most {warmest} °C")),
            (None, None) => None,
        };
        let shake = self.shake.as_ref().map(|text| format!("shake: {}", printable(text)));
        let wait = self.wait_minutes.map(|minutes| format!("photograph after {minutes} min"));
        let facts: Vec<String> = [temperature, shake, wait].into_iter().flatten().collect();
        f.write_str(&facts.join("; "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_a_quarter_or_a_minute_off_is_in_time() {
        let leaflet = |wait| Leaflet { wait_minutes: Some(wait), ..Leaflet::default() };
        let misses = |wait, seconds| leaflet(wait).misses_wait(TimeDelta::seconds(seconds)).unwrap();
        assert!(!misses(8.0, 360) && !misses(8.0, 600) && misses(8.0, 350) && misses(8.0, 610));
        assert!(!misses(2.0, 60) && !misses(2.0, 180) && misses(2.0, 59) && misses(2.0, 181));
        assert_eq!(Leaflet::default().misses_wait(TimeDelta::hours(9)), None);
    }

    #[test]
    fn facts_that_make_no_sense_are_named() {
        let wrong = [
            Leaflet { wait_minutes: Some(-5.0), ..Leaflet::default() },
            Leaflet { wait_minutes: Some(f64::NAN), ..Leaflet::default() },
            Leaflet { shake: Some(" ".to_owned()), ..Leaflet::default() },
            Leaflet { coldest_c: Some(28.0), warmest_c: Some(20.0), ..Leaflet::default() },
            Leaflet { warmest_c: Some(80.0), ..Leaflet::default() },
        ];
        assert!(wrong.iter().all(|leaflet| leaflet.check().is_err()));
        assert_eq!(Leaflet::default().check(), Ok(()));
    }

    #[test]
    fn words_of_a_chart_from_elsewhere_are_fit_for_a_terminal() {
        let leaflet = Leaflet { shake: Some("20 s\u{1b}[2J\u{202e}".to_owned()), ..Leaflet::default() };
        assert_eq!(leaflet.to_string(), "shake: 20 s\\u{1b}[2J\\u{202e}");
    }
}
