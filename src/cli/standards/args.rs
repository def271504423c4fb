//! What can be asked of `standards`, and how it is written.

use std::path::PathBuf;
use std::str::FromStr;

use crate::standards::{SALTS, Salt, Syringe};
use crate::terms::{Analyte, Unit};

/// Arguments of `standards`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell standards ammonia\n  tintwell standards nitrite --levels 0,0.5,1,2,5"
)]
pub struct Args {
    /// ammonia, nitrite, nitrate, alkalinity or ph
    pub(super) analyte: Analyte,

    /// Levels, the blank as 0 [default: those of common kits]
    #[arg(long, value_delimiter = ',')]
    pub(super) levels: Vec<f64>,

    /// Unit of the levels, such as NH3, NH4, N, NO2, NO3, meq/L, dKH [default: the analyte's]
    #[arg(long, value_parser = unit)]
    pub(super) unit: Option<Unit>,

    /// Salt to weigh, such as ammonium-sulfate [default: the usual one]
    #[arg(long, value_parser = salt, value_name = "SALT")]
    pub(super) salt: Option<&'static Salt>,

    /// Molecules of water of crystallisation in the salt (for ph: in the disodium phosphate)
    #[arg(long, default_value_t = 0.0, value_name = "N")]
    pub(super) water: f64,

    /// Purity of the salt, percent
    #[arg(long, default_value_t = 99.0, value_name = "PERCENT")]
    pub(super) purity: f64,

    /// Limit of the purity's error, percent
    #[arg(long, default_value_t = 1.0, value_name = "PERCENT")]
    pub(super) purity_tolerance: f64,

    /// Volume of each level, mL [default: 100; for ph 40]
    #[arg(long, value_name = "ML")]
    pub(super) volume: Option<f64>,

    /// Volume of the stock, mL
    #[arg(long, default_value_t = 500.0, value_name = "ML")]
    pub(super) stock_volume: f64,

    /// Concentration of the stock in the unit of the levels [default: chosen]
    #[arg(long, value_name = "VALUE")]
    pub(super) stock: Option<f64>,

    /// Smallest step of the scale, g
    #[arg(long, default_value_t = 0.01, value_name = "G")]
    pub(super) scale_step: f64,

    /// Syringe as CAPACITY:GRADUATION[:TOLERANCE], mL, mL and percent; may be repeated
    #[arg(long, default_values = ["1:0.01", "10:0.2"], value_parser = syringe, value_name = "SPEC")]
    pub(super) syringe: Vec<Syringe>,

    /// Limit of the flasks' error, percent
    #[arg(long, default_value_t = 1.0, value_name = "PERCENT")]
    pub(super) flask_tolerance: f64,

    /// Temperature at which buffers are used, degrees Celsius
    #[arg(long, default_value_t = 25.0, value_name = "C")]
    pub(super) temperature: f64,

    /// Also write a table to fill in with photos and give to `calibrate`; an existing file is left alone
    #[arg(long, value_name = "FILE", conflicts_with = "addition")]
    pub(super) table: Option<PathBuf>,

    /// Standard addition: mL of the tank's own water in each flask of --volume
    #[arg(long, value_name = "ML")]
    pub(super) addition: Option<f64>,

    /// What the tank's water holds about, to plan a standard addition
    #[arg(long, requires = "addition", value_name = "VALUE", conflicts_with = "levels")]
    pub(super) expected: Option<f64>,

    /// Evaluate a standard addition: RISE=READING of each flask, the first 0=READING
    #[arg(long, requires = "addition", value_delimiter = ',', value_parser = pair, value_name = "PAIRS")]
    pub(super) evaluate: Vec<(f64, f64)>,
}

impl Args {
    /// Volume of each level, mL; buffers are mixed of nothing but the two stocks, so they are made smaller.
    pub(super) fn volume(&self) -> f64 {
        self.volume.unwrap_or(if self.analyte == Analyte::Ph { 40.0 } else { 100.0 })
    }
}

/// Tolerance of a syringe that is given without one, percent: ISO 7886-1 allows 4 to 5 % of the volume
/// over half of the capacity (from memory, not verified).
const SYRINGE_TOLERANCE_PERCENT: f64 = 5.0;

fn unit(text: &str) -> Result<Unit, String> {
    Unit::from_str(text).or_else(|error| format!("mg/L {text}").parse().map_err(|_| error.to_string()))
}

fn salt(text: &str) -> Result<&'static Salt, String> {
    let known = || SALTS.iter().map(|salt| salt.word).collect::<Vec<_>>().join(", ");
    Salt::with_word(text).ok_or_else(|| format!("no such salt: use one of {}", known()))
}

fn syringe(text: &str) -> Result<Syringe, String> {
    let numbers: Result<Vec<f64>, _> = text.split(':').map(str::parse).collect();
    match numbers.as_deref() {
        Ok([capacity_ml, graduation_ml, rest @ ..])
            if rest.len() <= 1
                && *graduation_ml > 0.0
                && capacity_ml >= graduation_ml
                && capacity_ml.is_finite() =>
        {
            let tolerance = rest.first().copied().unwrap_or(SYRINGE_TOLERANCE_PERCENT) / 100.0;
            if !(0.0..=0.5).contains(&tolerance) {
                return Err("the tolerance must be 0 to 50 percent".into());
            }
            Ok(Syringe { capacity_ml: *capacity_ml, graduation_ml: *graduation_ml, tolerance })
        }
        _ => Err("write it as CAPACITY:GRADUATION in mL, such as 1:0.01".into()),
    }
}

fn pair(text: &str) -> Result<(f64, f64), String> {
    let wrong = || "write RISE=READING, such as 0=8.1".to_owned();
    let (rise, reading) = text.split_once('=').ok_or_else(wrong)?;
    Ok((rise.trim().parse().map_err(|_| wrong())?, reading.trim().parse().map_err(|_| wrong())?))
}
