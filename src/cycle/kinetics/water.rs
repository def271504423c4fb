//! Equilibria of the water and the effect of warmth, as the integrator needs them.

use crate::cycle::ammonia::pka_fresh;

/// Acid dissociation constant of ammonium, mol/L, fresh water.
pub fn ammonium_constant(celsius: f64) -> f64 {
    10f64.powf(-pka_fresh(celsius))
}

/// Acid dissociation constant of nitrous acid, mol/L.
///
/// Anthonisen, Loehr, Prakasam, Srinath, J. WPCF 48:835, 1976: Ka = exp(-2300 / (273 + t)).
pub fn nitrous_constant(celsius: f64) -> f64 {
    (-2300.0 / (celsius + 273.0)).exp()
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

    /// Anthonisen's formula for 5 mg N/L of nitrite, mg HNO2/L.
    #[test]
    fn free_nitrous_acid_agrees_with_anthonisen() {
        for (ph, acid) in [(6.0, 0.036_94), (7.0, 0.003_694), (8.0, 0.000_369)] {
            let value = 46.0 / 14.0 * 5.0 * 10f64.powf(-ph) / nitrous_constant(25.0);
            assert_relative_eq!(value, acid, max_relative = 2e-3);
        }
    }
}
