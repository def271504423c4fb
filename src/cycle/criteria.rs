//! Published water quality criteria for ammonia, nitrite and nitrate.

use super::ammonia::un_ionised_share;

/// CCME long-term guideline for un-ionised ammonia in fresh water, mg/L NH3.
pub const CCME_UN_IONISED_MG_L: f64 = 0.019;
/// EIFAC / EU 78/659/EEC limit for un-ionised ammonia, mg/L NH3 (from memory, not verified).
pub const EIFAC_UN_IONISED_MG_L: f64 = 0.025;
/// Un-ionised ammonia at which gill damage begins, mg/L NH3 (UF/IFAS FA16).
pub const GILL_DAMAGE_UN_IONISED_MG_L: f64 = 0.05;
/// CCME long-term guideline for nitrite in fresh water, mg/L as N.
pub const CCME_NITRITE_MG_N_L: f64 = 0.060;
/// CCME long-term guideline for nitrate in fresh water, mg/L NO3.
pub const CCME_NITRATE_LONG_MG_L: f64 = 13.0;
/// CCME short-term guideline for nitrate in fresh water, mg/L NO3.
pub const CCME_NITRATE_SHORT_MG_L: f64 = 550.0;
/// CCME long-term guideline for nitrate in sea water, mg/L NO3.
pub const CCME_NITRATE_MARINE_LONG_MG_L: f64 = 200.0;
/// Nitrate that harms sensitive fresh-water animals over long exposure, mg/L as N (Camargo, Alonso &
/// Salamanca, Chemosphere 58:1255, 2005).
pub const SENSITIVE_NITRATE_MG_N_L: f64 = 10.0;

/// US EPA 2013 acute criterion (one hour), mg/L total ammonia as N, salmonids taken as absent.
///
/// EPA-822-R-13-001; fresh water.
pub fn epa_acute_mg_n_l(ph: f64, temperature_c: f64) -> f64 {
    0.7249 * acute_ph_term(ph) * f64::min(51.93, 23.12 * 10f64.powf(0.036 * (20.0 - temperature_c)))
}

/// US EPA 2013 acute criterion where trout or salmon live, mg/L total ammonia as N.
pub fn epa_acute_salmonids_mg_n_l(ph: f64, temperature_c: f64) -> f64 {
    let salmonid = 0.275 / (1.0 + 10f64.powf(7.204 - ph)) + 39.0 / (1.0 + 10f64.powf(ph - 7.204));
    let others = 0.7249 * acute_ph_term(ph) * 23.12 * 10f64.powf(0.036 * (20.0 - temperature_c));
    salmonid.min(others)
}

/// US EPA 2013 chronic criterion (30 days), mg/L total ammonia as N; four days may reach 2.5 times this.
pub fn epa_chronic_mg_n_l(ph: f64, temperature_c: f64) -> f64 {
    let ph_term = 0.0278 / (1.0 + 10f64.powf(7.688 - ph)) + 1.1994 / (1.0 + 10f64.powf(ph - 7.688));
    0.8876 * ph_term * 2.126 * 10f64.powf(0.028 * (20.0 - temperature_c.max(7.0)))
}

fn acute_ph_term(ph: f64) -> f64 {
    0.0114 / (1.0 + 10f64.powf(7.204 - ph)) + 1.6181 / (1.0 + 10f64.powf(ph - 7.204))
}

/// British Columbia's nitrite guideline by chloride: the 30-day mean, mg/L as N.
///
/// Unknown chloride takes the strictest band.
pub fn nitrite_mean_mg_n_l(chloride_mg_l: Option<f64>) -> f64 {
    match chloride_mg_l.unwrap_or(0.0) {
        cl if cl < 2.0 => 0.02,
        cl if cl < 4.0 => 0.04,
        cl if cl < 6.0 => 0.06,
        cl if cl < 8.0 => 0.08,
        cl if cl <= 10.0 => 0.10,
        _ => 0.20,
    }
}

/// British Columbia's nitrite guideline by chloride: the maximum, mg/L as N, three times the mean.
pub fn nitrite_maximum_mg_n_l(chloride_mg_l: Option<f64>) -> f64 {
    3.0 * nitrite_mean_mg_n_l(chloride_mg_l)
}

/// Chloride, mg/L, that keeps nitrite off the gills at ten parts to one of nitrite as N (common practice
/// in fish culture).
pub fn protective_chloride_mg_l(nitrite_mg_n_l: f64) -> f64 {
    10.0 * nitrite_mg_n_l
}

/// Total ammonia, mg/L NH3, whose un-ionised part reaches the EIFAC limit.
pub fn total_ammonia_limit_mg_l(ph: f64, temperature_c: f64, salinity: f64) -> f64 {
    EIFAC_UN_IONISED_MG_L / un_ionised_share(ph, temperature_c, salinity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[derive(serde::Deserialize)]
    struct Row {
        #[serde(rename = "pH")]
        ph: f64,
        #[serde(rename = "temp_C")]
        temperature_c: f64,
        #[serde(rename = "CMC_Oncorhynchus_present")]
        acute_salmonids: f64,
        #[serde(rename = "CMC_absent")]
        acute: f64,
        #[serde(rename = "CCC_30d")]
        chronic: f64,
    }

    /// Values computed from EPA-822-R-13-001 as implemented in a state agency's R package;
    /// three printed decimals.
    #[test]
    fn the_epa_2013_grid_is_reproduced() {
        let grid = &include_bytes!("../../fixtures/check/epa2013_ammonia.csv")[..];
        let mut rows = 0;
        for row in csv::Reader::from_reader(grid).deserialize() {
            let row: Row = row.unwrap();
            rows += 1;
            assert_relative_eq!(
                epa_acute_salmonids_mg_n_l(row.ph, row.temperature_c),
                row.acute_salmonids,
                epsilon = 5.1e-4
            );
            assert_relative_eq!(epa_acute_mg_n_l(row.ph, row.temperature_c), row.acute, epsilon = 5.1e-4);
            assert_relative_eq!(epa_chronic_mg_n_l(row.ph, row.temperature_c), row.chronic, epsilon = 5.1e-4);
        }
        assert!(rows > 20);
    }

    /// The criteria document's own wording: 17 acute and 1.9 chronic at pH 7 and 20 °C. A transcription
    /// with `10 - max(T, 7)` gives half the chronic value.
    #[test]
    fn the_epa_headline_values_are_reproduced() {
        assert_relative_eq!(epa_acute_salmonids_mg_n_l(7.0, 20.0), 17.0, epsilon = 0.5);
        assert_relative_eq!(epa_chronic_mg_n_l(7.0, 20.0), 1.9, epsilon = 0.05);
    }

    /// British Columbia's bands, as listed in the open guideline table.
    #[test]
    fn nitrite_guidelines_follow_the_published_chloride_bands() {
        for (chloride, mean, maximum) in [
            (1.0, 0.02, 0.06),
            (3.0, 0.04, 0.12),
            (5.0, 0.06, 0.18),
            (7.0, 0.08, 0.24),
            (9.0, 0.10, 0.30),
            (50.0, 0.20, 0.60),
        ] {
            assert_relative_eq!(nitrite_mean_mg_n_l(Some(chloride)), mean);
            assert_relative_eq!(nitrite_maximum_mg_n_l(Some(chloride)), maximum, epsilon = 1e-12);
        }
        assert_relative_eq!(nitrite_mean_mg_n_l(None), 0.02);
    }
}
