//! Published equilibria of the water: what share of ammonia is free, of nitrite acid, and how much
//! oxygen water holds.

/// Acid dissociation constant of ammonium, mol/L.
///
/// Emerson, Russo, Lund, Thurston, J. Fish. Res. Board Can. 32:2379, 1975:
/// pKa = 0.09018 + 2729.92 / T, fresh water, 0 to 30 degrees Celsius.
pub fn ammonium_constant(celsius: f64) -> f64 {
    10f64.powf(-(0.090_18 + 2729.92 / (celsius + 273.2)))
}

/// Acid dissociation constant of nitrous acid, mol/L.
///
/// Anthonisen, Loehr, Prakasam, Srinath, J. WPCF 48:835, 1976: Ka = exp(-2300 / (273 + t)).
pub fn nitrous_constant(celsius: f64) -> f64 {
    (-2300.0 / (celsius + 273.0)).exp()
}

/// Oxygen in fresh water in balance with air at one atmosphere, mg/L.
///
/// Benson and Krause as printed in Standard Methods 4500-O, salinity zero.
pub fn oxygen_saturation(celsius: f64) -> f64 {
    let kelvin = celsius + 273.15;
    let x = 1.0 / kelvin;
    (-139.344_11 + x * (1.575_701e5 + x * (-6.642_308e7 + x * (1.243_800e10 - x * 8.621_949e11)))).exp()
}

/// Rate at `celsius` relative to 20 degrees, rising by `warmth` a kelvin and failing above 38.
///
/// The exponential form is that of theta^(T-20); the fall stands for the loss of activity that
/// nitrifiers show between about 35 and 45 degrees Celsius (from memory, not verified).
pub fn temperature_factor(warmth: f64, celsius: f64) -> f64 {
    (warmth * (celsius - 20.0)).exp() / (1.0 + ((celsius - 38.0) / 1.5).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// (TAN mg NH3/L, pH, degrees, free NH3 mg/L) computed with Emerson's formula by an independent
    /// spreadsheet of a general-purpose library; tolerance half of the last printed digit.
    #[test]
    fn free_ammonia_agrees_with_emerson() {
        for (tan, ph, celsius, free) in
            [(2.0, 7.0, 25.0, 0.0137), (2.0, 8.0, 25.0, 0.1305), (5.0, 8.2, 28.0, 0.6068)]
        {
            // Mass as N here and in the source's worked example: the share is the same.
            let hydrogen = 10f64.powf(-ph);
            let share = 1.0 / (1.0 + hydrogen / ammonium_constant(celsius));
            assert_relative_eq!(tan * 17.0 / 14.0 * share, free, max_relative = 0.006);
        }
    }

    /// Anthonisen's formula for 5 mg N/L of nitrite, mg HNO2/L.
    #[test]
    fn free_nitrous_acid_agrees_with_anthonisen() {
        for (ph, acid) in [(6.0, 0.036_94), (7.0, 0.003_694), (8.0, 0.000_369)] {
            let value = 46.0 / 14.0 * 5.0 * 10f64.powf(-ph) / nitrous_constant(25.0);
            assert_relative_eq!(value, acid, max_relative = 2e-3);
        }
    }

    /// Benson and Krause at 1 atm, mg/L, as tabulated for fresh water.
    #[test]
    fn oxygen_saturation_agrees_with_the_printed_table() {
        for (celsius, mg_per_l) in
            [(0.0, 14.621), (10.0, 11.288), (20.0, 9.092), (25.0, 8.263), (30.0, 7.559)]
        {
            assert_relative_eq!(oxygen_saturation(celsius), mg_per_l, epsilon = 1e-3);
        }
    }
}
