//! What a test measures.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::Unit;

/// A quantity of the water that a reading can be of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Analyte {
    /// Total ammonia, NH3 and NH4+ together.
    Ammonia,
    /// Nitrite, NO2-.
    Nitrite,
    /// Nitrate, NO3-.
    Nitrate,
    /// pH.
    Ph,
    /// Water temperature.
    Temperature,
    /// Total alkalinity.
    Alkalinity,
}

impl Analyte {
    /// Every analyte, in the order in which tables list them.
    pub const ALL: [Self; 6] =
        [Self::Ammonia, Self::Nitrite, Self::Nitrate, Self::Ph, Self::Temperature, Self::Alkalinity];

    /// The word used in files and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ammonia => "ammonia",
            Self::Nitrite => "nitrite",
            Self::Nitrate => "nitrate",
            Self::Ph => "ph",
            Self::Temperature => "temperature",
            Self::Alkalinity => "alkalinity",
        }
    }

    /// The unit in which values are kept and printed unless another is asked for.
    pub const fn default_unit(self) -> Unit {
        match self {
            Self::Ammonia => Unit::MgPerLitreNh3,
            Self::Nitrite => Unit::MgPerLitreNo2,
            Self::Nitrate => Unit::MgPerLitreNo3,
            Self::Ph => Unit::Ph,
            Self::Temperature => Unit::DegreeCelsius,
            Self::Alkalinity => Unit::MeqPerLitre,
        }
    }

    /// Whether the scale starts at a true zero (a concentration), so that a blank exists.
    pub const fn is_concentration(self) -> bool {
        !matches!(self, Self::Ph | Self::Temperature)
    }
}

impl fmt::Display for Analyte {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// A word that names no analyte.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("unknown analyte {0:?}: use one of ammonia, nitrite, nitrate, ph, temperature, alkalinity{hint}", hint = meant(.0))]
pub struct UnknownAnalyte(pub String);

/// What other words of the trade stand for; in which unit is for the keeper to say.
fn meant(word: &str) -> &'static str {
    match word.trim().to_ascii_lowercase().as_str() {
        "nh3" | "nh4" | "nh3/nh4" | "tan" => "; ammonia=1.2 is in mg/L NH3, ammonia=1.0N as nitrogen",
        "no2" => "; nitrite=0.5 is in mg/L NO2, nitrite=0.15N as nitrogen",
        "no3" => "; nitrate=20 is in mg/L NO3, nitrate=4.5N as nitrogen",
        "kh" | "dkh" => "; carbonate hardness is alkalinity=4dKH",
        "temp" => "; temperature=25 is in degrees Celsius, temperature=77F in Fahrenheit",
        _ => "",
    }
}

impl FromStr for Analyte {
    type Err = UnknownAnalyte;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let word = text.trim().to_ascii_lowercase();
        Self::ALL
            .into_iter()
            .find(|analyte| analyte.word() == word)
            .ok_or_else(|| UnknownAnalyte(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_parses_to_its_analyte() {
        for analyte in Analyte::ALL {
            assert_eq!(analyte.word().parse::<Analyte>(), Ok(analyte));
        }
    }

    #[test]
    fn an_unknown_word_is_named_with_the_known_ones() {
        let message = "amonia".parse::<Analyte>().unwrap_err().to_string();
        assert!(message.contains("amonia") && message.contains("ammonia, nitrite"));
        assert!(message.ends_with("alkalinity"), "{message}");
        let of_the_trade = "KH".parse::<Analyte>().unwrap_err().to_string();
        assert!(of_the_trade.ends_with("carbonate hardness is alkalinity=4dKH"), "{of_the_trade}");
    }
}
