//! How much of the total ammonia is un-ionised NH3, the form that harms animals.

/// Kelvin at zero degrees Celsius.
const ZERO_CELSIUS_K: f64 = 273.15;

/// Negative logarithm of the acid constant of ammonium in fresh water.
///
/// Emerson, Russo, Lund & Thurston, J. Fish. Res. Board Can. 32:2379-2383 (1975); 0 to 50 °C, zero
/// salinity. Some transcriptions misprint the constant as 2727.92.
pub fn pka_fresh(temperature_c: f64) -> f64 {
    0.09018 + 2729.92 / (temperature_c + ZERO_CELSIUS_K)
}

/// Negative logarithm of the same constant in salt water, total pH scale, per kilogram of sea water.
///
/// Clegg & Whitfield, Geochim. Cosmochim. Acta 59:2403 (1995), eq. 18; -2 to 40 °C, salinity 0 to 40;
/// better than 5 % in the constant. (The often copied expression of Khoo et al. 1977 is misprinted and
/// not used.)
pub fn pka_saline(temperature_c: f64, salinity: f64) -> f64 {
    let t = temperature_c + ZERO_CELSIUS_K;
    let s = salinity.max(0.0);
    let root = t.sqrt();
    let molal = 9.244_605 - 2_729.33 * (1.0 / 298.15 - 1.0 / t)
        + (0.042_033_62 - 11.247_42 / t) * s.powf(0.25)
        + (-13.641_6 + 1.176_949 * root - 0.028_607_85 * t + 545.483_4 / t) * s.sqrt()
        + (-0.146_250_7 + 0.009_022_646_8 * root - 0.000_147_136_1 * t + 10.542_5 / t) * s.powf(1.5)
        + (0.004_669_309 - 0.000_169_174_2 * root - 0.567_793_4 / t) * s.powi(2)
        + (-2.354_039e-5 + 0.009_698_623 / t) * s.powf(2.5);
    molal - (1.0 - 0.001_005 * s).log10()
}

/// Share of total ammonia that is NH3, 0 to 1, at `ph`, `temperature_c` (°C) and `salinity` (practical).
///
/// Salt water takes pH on the total scale; on the scale of a fresh-water electrode the share is up to a
/// fifth lower, so the number errs to the safe side.
pub fn un_ionised_share(ph: f64, temperature_c: f64, salinity: f64) -> f64 {
    let pka = if salinity > 0.5 { pka_saline(temperature_c, salinity) } else { pka_fresh(temperature_c) };
    1.0 / (1.0 + 10f64.powf(pka - ph))
}

/// Total ammonia, in the unit of `un_ionised`, whose NH3 part is `un_ionised`.
pub fn total_for_un_ionised(un_ionised: f64, ph: f64, temperature_c: f64, salinity: f64) -> f64 {
    un_ionised / un_ionised_share(ph, temperature_c, salinity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[derive(serde::Deserialize)]
    struct Published {
        #[serde(rename = "pH")]
        ph: f64,
        #[serde(rename = "temp_C")]
        temperature_c: f64,
        fraction_published: f64,
        flag: String,
    }

    /// Table 1.4 of Fundamentals of Aquatic Veterinary Medicine (the same as UF/IFAS FA16),
    /// "calculated from Emerson 1975"; four printed decimals. Rows flagged in the file are known
    /// misprints (the 32 °C column, and pH 7.4 at 20 °C).
    #[test]
    fn the_published_table_of_un_ionised_shares_is_reproduced() {
        let rows: Vec<Published> =
            csv::Reader::from_reader(&include_bytes!("../../fixtures/check/emerson_table.csv")[..])
                .deserialize()
                .map(Result::unwrap)
                .collect();
        let sound: Vec<_> = rows.iter().filter(|row| row.flag == "ok").collect();
        assert!(sound.len() >= 110, "only {} sound rows", sound.len());
        for row in sound {
            let share = un_ionised_share(row.ph, row.temperature_c, 0.0);
            assert_relative_eq!(share, row.fraction_published, epsilon = 6.1e-5);
        }
    }

    /// Worked example of UF/IFAS FA16: 1.0 mg/L total ammonia, 24 °C, pH 8.0.
    #[test]
    fn the_extension_service_worked_example_is_reproduced() {
        assert_relative_eq!(un_ionised_share(8.0, 24.0, 0.0), 0.0502, epsilon = 5e-5);
    }

    /// Help page of the R package `wq` (Clegg & Whitfield, per kg H2O) and `PyCO2SYS` constants turned
    /// to per kg sea water.
    #[test]
    fn sea_water_shares_agree_with_two_reference_libraries() {
        for (ph, t, expected) in
            [(8.0, 25.0, 0.0537), (7.8, 25.0, 0.0346), (8.0, 10.0, 0.0164), (8.2, 25.0, 0.0826)]
        {
            assert_relative_eq!(un_ionised_share(ph, t, 35.0), expected, epsilon = 6e-5);
        }
        assert_relative_eq!(1.0 / (1.0 + 10f64.powf(pka_saline(25.0, 0.0) - 8.0)), 0.0539, epsilon = 5e-5);
    }

    /// CCME long-term guideline 0.019 mg/L NH3 turned to total ammonia as N.
    #[test]
    fn the_guideline_in_total_ammonia_agrees_with_the_derived_table() {
        for (ph, t, tan_n) in [(7.0, 10.0, 8.435), (8.0, 20.0, 0.4105), (8.5, 20.0, 0.1405)] {
            let total = total_for_un_ionised(0.019, ph, t, 0.0) / crate::terms::unit::NH3_PER_N;
            assert_relative_eq!(total, tan_n, max_relative = 2e-3);
        }
    }

    proptest::proptest! {
        #[test]
        fn the_share_rises_with_ph_and_temperature(ph in 5.0..9.5f64, t in 1.0..34.0f64, s in 0.0..36.0f64) {
            let here = un_ionised_share(ph, t, s);
            proptest::prop_assert!(here > 0.0 && here < 1.0);
            proptest::prop_assert!(un_ionised_share(ph + 0.1, t, s) > here);
            proptest::prop_assert!(un_ionised_share(ph, t + 0.5, s) > here);
        }
    }
}
