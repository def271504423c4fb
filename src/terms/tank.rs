//! What the keeper says of a tank.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

/// A tank's facts as told by its keeper; everything but the name may be unknown.
///
/// The field names and words are those of a tank file (`tank.json`).
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct TankFacts {
    /// The tank's name.
    pub tank: String,
    /// When it was filled.
    pub started_at: Option<DateTime<FixedOffset>>,
    /// Nominal volume, litres; the true water volume is often 5 to 15 % less.
    pub volume_l: Option<f64>,
    /// `fresh`, `brackish` or `sea`.
    pub water: Option<String>,
    /// Set point of the heater, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// `none`, `bottled_bacteria` or `mature_medium`.
    pub seeding: Option<String>,
    /// `ammonium chloride`, `ammonia solution`, `fish food` or `fish`.
    pub ammonia_source: Option<String>,
    /// `none`, `few` or `many`.
    pub plants: Option<String>,
    /// `normal` or `weak`.
    pub filter_flow: Option<String>,
    /// `always`, `unknown` or `never`.
    pub water_conditioner: Option<String>,
    /// The tap water.
    pub tap: TapWater,
    /// The last level of each colour chart in use.
    pub chart_top: ChartTop,
}

/// Tap water as the keeper or the supplier describes it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct TapWater {
    /// Nitrate, mg/L NO3.
    pub nitrate_mg_l: Option<f64>,
    /// Total ammonia, mg/L NH3.
    pub ammonia_mg_l: Option<f64>,
    /// pH.
    pub ph: Option<f64>,
    /// Alkalinity, meq/L.
    pub alkalinity_meq_l: Option<f64>,
    /// `none`, `chlorine` or `chloramine`.
    pub disinfectant: Option<String>,
}

/// The last level of each colour chart, in default units.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ChartTop {
    /// mg/L NH3.
    pub ammonia: Option<f64>,
    /// mg/L NO2.
    pub nitrite: Option<f64>,
    /// mg/L NO3.
    pub nitrate: Option<f64>,
    /// pH.
    pub ph: Option<f64>,
}
