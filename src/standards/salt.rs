//! Salts that standards are weighed from: composition, hazards, keeping.

use crate::terms::Analyte;
use crate::terms::unit::atomic_weight::{C, CL, H, K, N, NA, O, S};

/// Molar mass of water, g/mol.
const WATER_G_PER_MOL: f64 = 2.0 * H + O;

/// A salt, free of water of crystallisation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Salt {
    /// Word on the command line.
    pub word: &'static str,
    /// Chemical name.
    pub name: &'static str,
    /// Formula.
    pub formula: &'static str,
    /// What it is a standard of.
    pub analyte: Analyte,
    /// Molar mass without water, g/mol, from the IUPAC conventional atomic weights.
    pub molar_mass: f64,
    /// Moles of nitrogen, or equivalents of alkalinity, in one mole.
    pub per_mole: f64,
    /// What to beware of.
    pub cautions: &'static [&'static str],
    /// How long its solutions keep.
    pub keeping: Keeping,
}

/// How long solutions keep, days: common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keeping {
    /// The stock, closed, in the dark at 4 degrees Celsius.
    pub stock_days: u32,
    /// Diluted standards.
    pub diluted_days: u32,
}

const NITRITE_CAUTIONS: &[&str] = &[
    "toxic if swallowed: a gram can kill; wear gloves, weigh away from food, wash hands and tools",
    "feeds fire: keep away from paper, fuel and heat",
    "never bring together with acids (poisonous brown gas) or with dry ammonium salts",
];
const AMMONIUM_CAUTIONS: &[&str] = &[
    "harmful if swallowed and irritates the eyes: wear glasses and gloves",
    "never bring together with bleach (poisonous chloramine gas) or with lye (ammonia gas)",
];
const NITRATE_CAUTIONS: &[&str] = &[
    "feeds fire: keep away from paper, fuel, sugar and heat",
    "harmful if swallowed, above all for infants: keep away from drinking water",
];

/// The known salts; the first of each analyte is the default.
pub const SALTS: [Salt; 8] = [
    Salt {
        word: "ammonium-chloride",
        name: "ammonium chloride",
        formula: "NH4Cl",
        analyte: Analyte::Ammonia,
        molar_mass: N + 4.0 * H + CL,
        per_mole: 1.0,
        cautions: AMMONIUM_CAUTIONS,
        keeping: Keeping { stock_days: 90, diluted_days: 1 },
    },
    Salt {
        word: "ammonium-sulfate",
        name: "ammonium sulfate",
        formula: "(NH4)2SO4",
        analyte: Analyte::Ammonia,
        molar_mass: 2.0 * (N + 4.0 * H) + S + 4.0 * O,
        per_mole: 2.0,
        cautions: AMMONIUM_CAUTIONS,
        keeping: Keeping { stock_days: 90, diluted_days: 1 },
    },
    Salt {
        word: "sodium-nitrite",
        name: "sodium nitrite",
        formula: "NaNO2",
        analyte: Analyte::Nitrite,
        molar_mass: NA + N + 2.0 * O,
        per_mole: 1.0,
        cautions: NITRITE_CAUTIONS,
        keeping: Keeping { stock_days: 30, diluted_days: 1 },
    },
    Salt {
        word: "potassium-nitrite",
        name: "potassium nitrite",
        formula: "KNO2",
        analyte: Analyte::Nitrite,
        molar_mass: K + N + 2.0 * O,
        per_mole: 1.0,
        cautions: NITRITE_CAUTIONS,
        keeping: Keeping { stock_days: 30, diluted_days: 1 },
    },
    Salt {
        word: "potassium-nitrate",
        name: "potassium nitrate",
        formula: "KNO3",
        analyte: Analyte::Nitrate,
        molar_mass: K + N + 3.0 * O,
        per_mole: 1.0,
        cautions: NITRATE_CAUTIONS,
        keeping: Keeping { stock_days: 180, diluted_days: 7 },
    },
    Salt {
        word: "sodium-nitrate",
        name: "sodium nitrate",
        formula: "NaNO3",
        analyte: Analyte::Nitrate,
        molar_mass: NA + N + 3.0 * O,
        per_mole: 1.0,
        cautions: NITRATE_CAUTIONS,
        keeping: Keeping { stock_days: 180, diluted_days: 7 },
    },
    Salt {
        word: "sodium-bicarbonate",
        name: "sodium hydrogen carbonate",
        formula: "NaHCO3",
        analyte: Analyte::Alkalinity,
        molar_mass: NA + H + C + 3.0 * O,
        per_mole: 1.0,
        cautions: &["mild, yet keep it out of the eyes"],
        keeping: Keeping { stock_days: 7, diluted_days: 1 },
    },
    Salt {
        word: "sodium-carbonate",
        name: "sodium carbonate",
        formula: "Na2CO3",
        analyte: Analyte::Alkalinity,
        molar_mass: 2.0 * NA + C + 3.0 * O,
        per_mole: 2.0,
        cautions: &["irritates the eyes and, as a strong solution, the skin: wear glasses"],
        keeping: Keeping { stock_days: 30, diluted_days: 1 },
    },
];

impl Salt {
    /// The default salt of an analyte.
    pub fn default_of(analyte: Analyte) -> Option<&'static Self> {
        SALTS.iter().find(|salt| salt.analyte == analyte)
    }

    /// The salt with a word.
    pub fn with_word(word: &str) -> Option<&'static Self> {
        SALTS.iter().find(|salt| salt.word == word)
    }

    /// Molar mass with molecules of water of crystallisation, g/mol.
    pub fn hydrated_molar_mass(&self, water: f64) -> f64 {
        self.molar_mass + water * WATER_G_PER_MOL
    }

    /// What one gram of the pure salt holds: milligrams of nitrogen, or milliequivalents of alkalinity.
    pub fn base_per_gram(&self, water: f64) -> f64 {
        let of_base = if self.analyte == Analyte::Alkalinity { 1.0 } else { N };
        1000.0 * self.per_mole * of_base / self.hydrated_molar_mass(water)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Molar masses computed with molmass 2026.1.8, two decimals (three where it gives them).
    #[test]
    fn molar_masses_agree_with_a_reference_library() {
        let table = [
            ("ammonium-chloride", 53.490, 0.005),
            ("ammonium-sulfate", 132.13, 0.01),
            ("sodium-nitrite", 68.995, 0.001),
            ("potassium-nitrate", 101.10, 0.005),
            ("sodium-bicarbonate", 84.006, 0.001),
        ];
        for (word, expected, tolerance) in table {
            assert_abs_diff_eq!(Salt::with_word(word).unwrap().molar_mass, expected, epsilon = tolerance);
        }
    }

    /// 1 mg of ammonium chloride holds 0.26187 mg N (computed with molmass 2026.1.8).
    #[test]
    fn nitrogen_in_ammonium_chloride_agrees_with_a_reference_library() {
        let salt = Salt::default_of(Analyte::Ammonia).unwrap();
        assert_abs_diff_eq!(salt.base_per_gram(0.0), 261.87, epsilon = 0.01);
    }

    /// Soda crystals, Na2CO3 with ten waters, weigh 286.14 g/mol (CRC Handbook; from memory, not verified).
    #[test]
    fn water_of_crystallisation_adds_its_mass() {
        let soda = Salt::with_word("sodium-carbonate").unwrap();
        assert_abs_diff_eq!(soda.hydrated_molar_mass(10.0), 286.14, epsilon = 0.01);
    }

    #[test]
    fn every_salt_warns_and_every_series_has_a_default() {
        assert!(SALTS.iter().all(|salt| !salt.cautions.is_empty()));
        for analyte in [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate, Analyte::Alkalinity] {
            assert_eq!(Salt::default_of(analyte).map(|salt| salt.analyte), Some(analyte));
        }
    }
}
