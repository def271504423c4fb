//! Amounts: ammonia sources, water changes, food, chloramine, volume.

use crate::terms::unit::{NH3_PER_N, atomic_weight};

/// Molar mass of ammonia, g/mol.
const NH3_G_PER_MOL: f64 = atomic_weight::N + 3.0 * atomic_weight::H;
/// Molar mass of ammonium chloride, g/mol.
const NH4CL_G_PER_MOL: f64 = atomic_weight::N + 4.0 * atomic_weight::H + atomic_weight::CL;

/// Nitrogen in food protein, g/g: one part in 6.25 (the Kjeldahl factor of food analysis).
pub const N_PER_PROTEIN: f64 = 1.0 / 6.25;

/// Share of a food's nitrogen that becomes ammonia: fish excrete most of what they digest, the rest is
/// growth and droppings (a wide range, 0.5 to 0.9, is published for fish feeds).
pub const FOOD_N_EXCRETED: f64 = 0.7;

/// Density of aqueous ammonia at 20 °C by strength, (percent by mass, g/mL); handbook table.
const AQUEOUS_AMMONIA: [(f64, f64); 6] =
    [(0.0, 0.998_2), (1.0, 0.993_8), (5.0, 0.977_0), (10.0, 0.957_5), (20.0, 0.922_8), (30.0, 0.892_0)];

/// What cannot be reckoned with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DoseError {
    /// A quantity that must be above zero is not.
    #[error("{what} must be above zero, not {value}: check the number and its unit")]
    NotPositive {
        /// Which quantity.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A strength outside the table.
    #[error(
        "aqueous ammonia of {percent} % is outside 0.1 to 30 % by mass: read the strength on its label again"
    )]
    Strength {
        /// What was given, percent by mass.
        percent: f64,
    },
    /// A target that no water change reaches.
    #[error(
        "no water change reaches {target} mg/L: the tap water itself holds {tap} mg/L; treat the tap water or use another source"
    )]
    Unreachable {
        /// Wanted, mg/L.
        target: f64,
        /// In the tap water, mg/L.
        tap: f64,
    },
}

fn positive(what: &'static str, value: f64) -> Result<f64, DoseError> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(DoseError::NotPositive { what, value }) }
}

/// Ammonium chloride that raises total ammonia by `rise_mg_l` (as NH3) in `volume_l`, grams.
///
/// # Errors
/// An amount is not above zero.
pub fn ammonium_chloride_g(rise_mg_l: f64, volume_l: f64) -> Result<f64, DoseError> {
    let rise = positive("the rise of ammonia (mg/L)", rise_mg_l)?;
    Ok(rise * positive("the volume (litres)", volume_l)? / 1000.0 * NH4CL_G_PER_MOL / NH3_G_PER_MOL)
}

/// Density of aqueous ammonia of `percent` by mass at 20 °C, g/mL, between the table's rows.
///
/// # Errors
/// The table does not reach such a strength: 0.1 to 30 percent.
pub fn aqueous_ammonia_density(percent: f64) -> Result<f64, DoseError> {
    if !(0.1..=30.0).contains(&percent) {
        return Err(DoseError::Strength { percent });
    }
    let above = AQUEOUS_AMMONIA.iter().position(|row| row.0 >= percent).unwrap_or(1).max(1);
    let ((p0, d0), (p1, d1)) = (AQUEOUS_AMMONIA[above - 1], AQUEOUS_AMMONIA[above]);
    Ok(d0 + (d1 - d0) * (percent - p0) / (p1 - p0))
}

/// Aqueous ammonia of `percent` by mass that raises total ammonia by `rise_mg_l` in `volume_l`, millilitres.
///
/// `density` (g/mL) overrides the table where the label gives it.
///
/// # Errors
/// An amount is not above zero, or the table does not reach the strength and no density is given.
pub fn aqueous_ammonia_ml(
    rise_mg_l: f64,
    volume_l: f64,
    percent: f64,
    density: Option<f64>,
) -> Result<f64, DoseError> {
    let grams = positive("the rise of ammonia (mg/L)", rise_mg_l)?
        * positive("the volume (litres)", volume_l)?
        / 1000.0;
    let density = match density {
        Some(density) => positive("the density (g/mL)", density)?,
        None => aqueous_ammonia_density(percent)?,
    };
    Ok(grams / (positive("the strength (percent)", percent)? / 100.0 * density))
}

/// Total ammonia that `food_g` of a food with `protein_percent` comes to once broken down, mg/L as NH3.
///
/// # Errors
/// An amount is not above zero.
pub fn ammonia_from_food_mg_l(food_g: f64, protein_percent: f64, volume_l: f64) -> Result<f64, DoseError> {
    let nitrogen_g =
        positive("the food (grams)", food_g)? * positive("the protein (percent)", protein_percent)? / 100.0
            * N_PER_PROTEIN;
    Ok(nitrogen_g * FOOD_N_EXCRETED * 1000.0 * NH3_PER_N / positive("the volume (litres)", volume_l)?)
}

/// Food whose breakdown raises total ammonia by `rise_mg_l` (as NH3), grams.
///
/// # Errors
/// An amount is not above zero.
pub fn food_g(rise_mg_l: f64, protein_percent: f64, volume_l: f64) -> Result<f64, DoseError> {
    let rise = positive("the rise of ammonia (mg/L)", rise_mg_l)?;
    Ok(rise / ammonia_from_food_mg_l(1.0, protein_percent, volume_l)?)
}

/// Concentration after changing `share` (0 to 1) of the water, in the unit of `before` and `tap`.
pub fn after_change(before: f64, tap: f64, share: f64) -> f64 {
    share * tap + (1.0 - share) * before
}

/// Share (0 to 1) of one water change that brings `before` to `target`; zero if it is there already.
///
/// # Errors
/// Tap water holds as much as `target` or more.
pub fn single_change(before: f64, tap: f64, target: f64) -> Result<f64, DoseError> {
    if before <= target {
        return Ok(0.0);
    }
    if target <= tap {
        return Err(DoseError::Unreachable { target, tap });
    }
    Ok((before - target) / (before - tap))
}

/// Changes of `share` (0 to 1) each that bring `before` to `target`, as a real number: round it up.
///
/// # Errors
/// Tap water holds as much as `target` or more, or `share` is not above zero.
pub fn repeated_changes(before: f64, tap: f64, target: f64, share: f64) -> Result<f64, DoseError> {
    if single_change(before, tap, target)? == 0.0 {
        return Ok(0.0);
    }
    let share = positive("the share of water changed", share)?.min(0.999);
    Ok(((target - tap) / (before - tap)).ln() / (1.0 - share).ln())
}

/// Share of a weekly change that holds a rise of `weekly_rise` at `target` in the long run.
///
/// Just before each change the level then stands at `target`.
///
/// # Errors
/// Tap water holds as much as `target` or more.
pub fn weekly_change_to_hold(weekly_rise: f64, tap: f64, target: f64) -> Result<f64, DoseError> {
    if target <= tap {
        return Err(DoseError::Unreachable { target, tap });
    }
    Ok((weekly_rise / (target - tap)).clamp(0.0, 1.0))
}

/// Total ammonia set free when chloramine of `chlorine_mg_l` (as Cl2) is neutralised, mg/L as NH3.
///
/// One mole of NH2Cl, counted as one mole of Cl2, holds one mole of N.
pub fn chloramine_ammonia_mg_l(chlorine_mg_l: f64) -> f64 {
    chlorine_mg_l * NH3_G_PER_MOL / (2.0 * atomic_weight::CL)
}

/// Net water volume of a box, litres: outer or inner sizes in centimetres as filled, less what displaces
/// water.
pub fn net_volume_l(
    length_cm: f64,
    width_cm: f64,
    water_height_cm: f64,
    displaced_l: f64,
) -> Result<f64, DoseError> {
    let gross = positive("the length (cm)", length_cm)?
        * positive("the width (cm)", width_cm)?
        * positive("the water height (cm)", water_height_cm)?
        / 1000.0;
    positive("the water left beside what displaces it (litres)", gross - displaced_l.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// IUPAC atomic weights: 6.281 mg/L of NH4Cl for 2 mg/L as NH3.
    #[test]
    fn ammonium_chloride_follows_the_molar_masses() {
        assert_relative_eq!(ammonium_chloride_g(2.0, 100.0).unwrap(), 0.6281, epsilon = 1e-4);
    }

    /// Handbook densities of aqueous ammonia at 20 °C (CRC / Perry type table).
    #[test]
    fn aqueous_ammonia_follows_the_handbook_table() {
        for (percent, ml) in [(1.0, 20.12), (5.0, 4.094), (10.0, 2.089), (20.0, 1.084), (30.0, 0.747)] {
            let dose = aqueous_ammonia_ml(2.0, 100.0, percent, None).unwrap();
            assert_relative_eq!(dose, ml, max_relative = 1e-3);
        }
        assert_relative_eq!(aqueous_ammonia_density(25.0).unwrap(), 0.907, epsilon = 2e-3);
    }

    /// Dilution algebra, worked by hand.
    #[test]
    fn water_changes_follow_dilution_algebra() {
        assert_relative_eq!(after_change(40.0, 5.0, 0.5), 22.5);
        assert_relative_eq!(single_change(40.0, 0.0, 30.0).unwrap(), 0.25);
        let four = (0..4).fold(80.0, |level, _| after_change(level, 10.0, 0.3));
        assert_relative_eq!(four, 26.807, epsilon = 1e-3);
        assert_relative_eq!(repeated_changes(80.0, 0.0, 20.0, 0.3).unwrap(), 3.887, epsilon = 1e-3);
        assert_relative_eq!(repeated_changes(4.0, 0.0, 1.0, 0.5).unwrap(), 2.0, epsilon = 1e-9);
        assert_relative_eq!(weekly_change_to_hold(5.0, 0.0, 20.0).unwrap(), 0.25);
    }

    #[test]
    fn a_target_below_the_tap_water_is_refused() {
        let message = single_change(40.0, 20.0, 10.0).unwrap_err().to_string();
        assert!(message.contains("tap water") && message.contains("20"));
    }

    /// 14.007 / 70.90 of nitrogen for each mg of chlorine: 3 mg/L of chloramine set 0.593 mg/L N free.
    #[test]
    fn chloramine_sets_its_nitrogen_free() {
        assert_relative_eq!(chloramine_ammonia_mg_l(3.0) / NH3_PER_N, 0.593, epsilon = 1e-3);
        assert_relative_eq!(chloramine_ammonia_mg_l(1.0), 0.24021, epsilon = 1e-4);
    }

    #[test]
    fn food_and_ammonia_are_inverse() {
        let grams = food_g(2.0, 45.0, 120.0).unwrap();
        assert_relative_eq!(ammonia_from_food_mg_l(grams, 45.0, 120.0).unwrap(), 2.0, epsilon = 1e-12);
    }

    #[test]
    fn a_tank_without_volume_is_refused_with_words() {
        assert!(ammonium_chloride_g(2.0, 0.0).unwrap_err().to_string().contains("volume"));
        assert!(aqueous_ammonia_ml(2.0, 100.0, 95.0, None).unwrap_err().to_string().contains("label"));
    }

    proptest::proptest! {
        #[test]
        fn repeated_changes_reach_the_target(before in 5.0..200.0f64, tap in 0.0..4.0f64, share in 0.05..0.9f64) {
            let target = 0.5 * (before + tap);
            let changes = repeated_changes(before, tap, target, share).unwrap().ceil() as usize;
            let reached = (0..changes).fold(before, |level, _| after_change(level, tap, share));
            proptest::prop_assert!(reached <= target + 1e-9);
        }
    }
}
