//! Oxygen that the water holds, and that nitrification asks for.

/// Oxygen used for each gram of ammonia nitrogen oxidised to nitrate, g O2/g N, growth left out: two moles
/// for each mole of N (1.5 to nitrite, 0.5 to nitrate).
pub const OXYGEN_PER_N: f64 = 4.569;

/// Dissolved oxygen at saturation under one atmosphere, mg/L.
///
/// Benson & Krause as printed in APHA Standard Methods; 0 to 40 °C, salinity 0 to 40.
pub fn saturation_mg_l(temperature_c: f64, salinity: f64) -> f64 {
    let t = temperature_c + 273.15;
    let fresh = -139.344_11 + 1.575_701e5 / t - 6.642_308e7 / t.powi(2) + 1.243_800e10 / t.powi(3)
        - 8.621_949e11 / t.powi(4);
    let salt = salinity.max(0.0) * (1.767_4e-2 - 10.754 / t + 2_140.7 / t.powi(2));
    (fresh - salt).exp()
}

/// Oxygen that oxidising `ammonia_mg_n_l` to nitrate takes from the water, mg/L.
pub fn demand_mg_l(ammonia_mg_n_l: f64) -> f64 {
    OXYGEN_PER_N * ammonia_mg_n_l
}

/// Loads of saturated water that a dose's oxidation uses: above one, the surface must supply the rest.
pub fn saturations_used(ammonia_mg_n_l: f64, temperature_c: f64, salinity: f64) -> f64 {
    demand_mg_l(ammonia_mg_n_l) / saturation_mg_l(temperature_c, salinity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// APHA values, confirmed within 0.001 mg/L by the independent Garcia-Gordon form of the TEOS-10
    /// toolbox.
    #[test]
    fn saturation_follows_the_standard_methods_table() {
        let table = &include_bytes!("../../fixtures/check/do_saturation.csv")[..];
        let mut rows = 0;
        for record in csv::Reader::from_reader(table).records() {
            let row: Vec<f64> = record.unwrap().iter().map(|cell| cell.parse().unwrap()).collect();
            rows += 1;
            assert_relative_eq!(saturation_mg_l(row[0], 0.0), row[1], epsilon = 6e-4);
            assert_relative_eq!(saturation_mg_l(row[0], 0.0), row[2], epsilon = 2e-3);
            assert_relative_eq!(saturation_mg_l(row[0], 35.0), row[3], epsilon = 6e-4);
        }
        assert!(rows >= 30);
    }

    /// Stoichiometry from the IUPAC atomic weights: 2 mol O2 (31.998 g) for each mol N (14.007 g).
    #[test]
    fn oxygen_demand_follows_stoichiometry() {
        assert_relative_eq!(OXYGEN_PER_N, 2.0 * 31.998 / 14.007, epsilon = 5e-4);
        assert_relative_eq!(demand_mg_l(1.645), 7.516, epsilon = 1e-3);
    }
}
