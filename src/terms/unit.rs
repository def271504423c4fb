//! Units, their labels, and exact conversion between those that measure the same thing.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::Analyte;

/// Conventional atomic weights, g/mol (IUPAC, Standard Atomic Weights, abridged conventional values).
pub mod atomic_weight {
    /// Nitrogen, g/mol.
    pub const N: f64 = 14.007;
    /// Hydrogen, g/mol.
    pub const H: f64 = 1.008;
    /// Oxygen, g/mol.
    pub const O: f64 = 15.999;
    /// Chlorine, g/mol.
    pub const CL: f64 = 35.45;
    /// Calcium, g/mol.
    pub const CA: f64 = 40.078;
    /// Carbon, g/mol.
    pub const C: f64 = 12.011;
    /// Sodium, g/mol.
    pub const NA: f64 = 22.990;
    /// Potassium, g/mol.
    pub const K: f64 = 39.098;
    /// Sulfur, g/mol.
    pub const S: f64 = 32.06;
    /// Phosphorus, g/mol.
    pub const P: f64 = 30.974;
}

use atomic_weight::{C, CA, H, N, O};

/// Mass of NH3 that holds one unit mass of nitrogen.
pub const NH3_PER_N: f64 = (N + 3.0 * H) / N;
/// Mass of NH4+ that holds one unit mass of nitrogen.
pub const NH4_PER_N: f64 = (N + 4.0 * H) / N;
/// Mass of NO2- that holds one unit mass of nitrogen.
pub const NO2_PER_N: f64 = (N + 2.0 * O) / N;
/// Mass of NO3- that holds one unit mass of nitrogen.
pub const NO3_PER_N: f64 = (N + 3.0 * O) / N;
/// mg/L of CaCO3 in one meq/L of alkalinity (half the molar mass).
pub const CACO3_MG_PER_MEQ: f64 = (CA + C + 3.0 * O) / 2.0;
/// meq/L in one degree of carbonate hardness (10 mg/L CaO; two equivalents a mole).
pub const MEQ_PER_DKH: f64 = 10.0 / ((CA + O) / 2.0);

/// A unit of measurement as kits print it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Unit {
    /// mg/L, total ammonia counted as NH3.
    #[serde(rename = "mg/L NH3")]
    MgPerLitreNh3,
    /// mg/L, total ammonia counted as NH4+.
    #[serde(rename = "mg/L NH4")]
    MgPerLitreNh4,
    /// mg/L nitrite counted as NO2.
    #[serde(rename = "mg/L NO2")]
    MgPerLitreNo2,
    /// mg/L nitrate counted as NO3.
    #[serde(rename = "mg/L NO3")]
    MgPerLitreNo3,
    /// mg/L counted as nitrogen, for any of the three.
    #[serde(rename = "mg/L N")]
    MgPerLitreN,
    /// The pH scale.
    #[serde(rename = "pH")]
    Ph,
    /// Degrees Celsius.
    #[serde(rename = "degC")]
    DegreeCelsius,
    /// Alkalinity in milliequivalents a litre.
    #[serde(rename = "meq/L")]
    MeqPerLitre,
    /// Alkalinity in degrees of carbonate hardness.
    #[serde(rename = "dKH")]
    DegreeKh,
    /// Alkalinity in mg/L CaCO3.
    #[serde(rename = "mg/L CaCO3")]
    MgPerLitreCaco3,
}

impl Unit {
    /// Every unit.
    pub const ALL: [Self; 10] = [
        Self::MgPerLitreNh3,
        Self::MgPerLitreNh4,
        Self::MgPerLitreNo2,
        Self::MgPerLitreNo3,
        Self::MgPerLitreN,
        Self::Ph,
        Self::DegreeCelsius,
        Self::MeqPerLitre,
        Self::DegreeKh,
        Self::MgPerLitreCaco3,
    ];

    /// The label used in files and output.
    pub const fn label(self) -> &'static str {
        match self {
            Self::MgPerLitreNh3 => "mg/L NH3",
            Self::MgPerLitreNh4 => "mg/L NH4",
            Self::MgPerLitreNo2 => "mg/L NO2",
            Self::MgPerLitreNo3 => "mg/L NO3",
            Self::MgPerLitreN => "mg/L N",
            Self::Ph => "pH",
            Self::DegreeCelsius => "degC",
            Self::MeqPerLitre => "meq/L",
            Self::DegreeKh => "dKH",
            Self::MgPerLitreCaco3 => "mg/L CaCO3",
        }
    }

    /// How many of this unit make one base unit of `analyte`, or `None` if the unit does not measure it.
    ///
    /// The base is mg/L as N for the nitrogen species and meq/L for alkalinity.
    fn per_base(self, analyte: Analyte) -> Option<f64> {
        match (analyte, self) {
            (Analyte::Ammonia, Self::MgPerLitreNh3) => Some(NH3_PER_N),
            (Analyte::Ammonia, Self::MgPerLitreNh4) => Some(NH4_PER_N),
            (Analyte::Nitrite, Self::MgPerLitreNo2) => Some(NO2_PER_N),
            (Analyte::Nitrate, Self::MgPerLitreNo3) => Some(NO3_PER_N),
            (Analyte::Ammonia | Analyte::Nitrite | Analyte::Nitrate, Self::MgPerLitreN)
            | (Analyte::Ph, Self::Ph)
            | (Analyte::Temperature, Self::DegreeCelsius)
            | (Analyte::Alkalinity, Self::MeqPerLitre) => Some(1.0),
            (Analyte::Alkalinity, Self::DegreeKh) => Some(1.0 / MEQ_PER_DKH),
            (Analyte::Alkalinity, Self::MgPerLitreCaco3) => Some(CACO3_MG_PER_MEQ),
            _ => None,
        }
    }

    /// Whether this unit can express `analyte`.
    pub fn measures(self, analyte: Analyte) -> bool {
        self.per_base(analyte).is_some()
    }

    /// Converts `value` of `analyte` from this unit to `target`; `None` if either does not measure it.
    pub fn convert(self, value: f64, target: Self, analyte: Analyte) -> Option<f64> {
        if self == target {
            return self.measures(analyte).then_some(value);
        }
        Some(value / self.per_base(analyte)? * target.per_base(analyte)?)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.label())
    }
}

/// A label that names no unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "unknown unit {0:?}: use one of mg/L NH3, mg/L NH4, mg/L NO2, mg/L NO3, mg/L N, pH, degC, meq/L, dKH, mg/L CaCO3"
)]
pub struct UnknownUnit(pub String);

impl FromStr for Unit {
    type Err = UnknownUnit;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wanted = text.trim();
        Self::ALL
            .into_iter()
            .find(|unit| unit.label().eq_ignore_ascii_case(wanted))
            .ok_or_else(|| UnknownUnit(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Factors from the IUPAC conventional atomic weights; tolerance is the five printed digits.
    #[test]
    fn nitrogen_factors_agree_with_iupac_weights() {
        assert_relative_eq!(1.0 / NH3_PER_N, 0.82244, epsilon = 1e-5);
        assert_relative_eq!(NH4_PER_N, 1.28786, epsilon = 1e-5);
        assert_relative_eq!(1.0 / NO2_PER_N, 0.30447, epsilon = 1e-5);
        assert_relative_eq!(NO3_PER_N, 4.42664, epsilon = 1e-5);
    }

    /// CCME water quality guidelines print each of these in both forms (as ion and as N).
    #[test]
    fn conversion_agrees_with_ccme_pairs() {
        let as_n = |value, unit: Unit, analyte| unit.convert(value, Unit::MgPerLitreN, analyte).unwrap();
        assert_relative_eq!(as_n(13.0, Unit::MgPerLitreNo3, Analyte::Nitrate), 3.0, epsilon = 0.07);
        assert_relative_eq!(as_n(550.0, Unit::MgPerLitreNo3, Analyte::Nitrate), 124.0, epsilon = 0.5);
        assert_relative_eq!(as_n(0.197, Unit::MgPerLitreNo2, Analyte::Nitrite), 0.060, epsilon = 5e-4);
    }

    /// 1 dKH = 17.848 mg/L CaCO3 = 0.35665 meq/L by definition (10 mg/L CaO).
    #[test]
    fn carbonate_hardness_degrees_follow_their_definition() {
        let dkh = |target| Unit::DegreeKh.convert(1.0, target, Analyte::Alkalinity).unwrap();
        assert_relative_eq!(dkh(Unit::MeqPerLitre), 0.35665, epsilon = 1e-5);
        assert_relative_eq!(dkh(Unit::MgPerLitreCaco3), 17.848, epsilon = 1e-3);
    }

    #[test]
    fn a_unit_of_another_analyte_is_not_converted() {
        assert_eq!(Unit::MgPerLitreNo2.convert(1.0, Unit::MgPerLitreN, Analyte::Ammonia), None);
    }
}
