//! The water's buffer, and how far it carries nitrification.

use crate::terms::unit::{CACO3_MG_PER_MEQ, atomic_weight};

/// Alkalinity used for each mg of ammonia nitrogen oxidised to nitrate, meq: two moles of acid for each
/// mole of N, growth left out.
pub const MEQ_PER_MG_N: f64 = 2.0 / atomic_weight::N;

/// Alkalinity below which the pH begins to fall and nitrifiers to slow, meq/L (about 50 mg/L CaCO3; common
/// practice in recirculating systems keeps two to three times as much).
pub const RESERVE_MEQ_L: f64 = 1.0;

/// Molar mass of sodium bicarbonate, g/mol; one mole carries one equivalent.
pub const BICARBONATE_G_PER_MOL: f64 =
    atomic_weight::NA + atomic_weight::H + atomic_weight::C + 3.0 * atomic_weight::O;

/// Sodium bicarbonate that raises `volume_l` of water by `rise_meq_l`, grams.
pub fn bicarbonate_g(rise_meq_l: f64, volume_l: f64) -> f64 {
    rise_meq_l * volume_l * BICARBONATE_G_PER_MOL / 1000.0
}

/// How many doses of `dose_mg_n_l` the buffer carries before it falls to [`RESERVE_MEQ_L`].
pub fn doses_left(alkalinity_meq_l: f64, dose_mg_n_l: f64) -> f64 {
    ((alkalinity_meq_l - RESERVE_MEQ_L) / (MEQ_PER_MG_N * dose_mg_n_l)).max(0.0)
}

/// mg/L CaCO3 as meq/L.
pub fn meq_from_caco3(mg_l: f64) -> f64 {
    mg_l / CACO3_MG_PER_MEQ
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Textbook stoichiometry: 7.14 g CaCO3 for each g of N (7.145 from the atomic weights).
    #[test]
    fn nitrifying_a_gram_of_nitrogen_uses_seven_grams_of_calcium_carbonate() {
        assert_relative_eq!(MEQ_PER_MG_N * CACO3_MG_PER_MEQ, 7.145, epsilon = 2e-3);
        let per_mg_nh3 = MEQ_PER_MG_N * CACO3_MG_PER_MEQ / crate::terms::unit::NH3_PER_N;
        assert_relative_eq!(per_mg_nh3, 5.877, epsilon = 2e-3);
    }

    /// 84.006 g/mol. The kitchen rule "53 g in 3785 L gives +10 mg/L CaCO3" really gives +8.34.
    #[test]
    fn bicarbonate_doses_follow_the_molar_mass() {
        assert_relative_eq!(BICARBONATE_G_PER_MOL, 84.006, epsilon = 2e-3);
        assert_relative_eq!(bicarbonate_g(meq_from_caco3(8.34), 3785.0), 53.0, epsilon = 0.1);
        assert_relative_eq!(bicarbonate_g(1.0, 100.0), 8.4006, epsilon = 1e-3);
    }

    #[test]
    fn a_thin_buffer_carries_no_dose() {
        assert_relative_eq!(doses_left(0.6, 1.64), 0.0);
        assert_relative_eq!(doses_left(3.0, 7.0035), 2.0, epsilon = 1e-6);
    }
}
