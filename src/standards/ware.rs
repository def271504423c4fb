//! Scale, syringes and flasks, and how well each measures.
//!
//! Standard uncertainties are of type B (JCGM 100:2008, 4.3): what only its limits are known of is taken
//! as evenly spread between them, so that the standard uncertainty is the half-width over root three.

use super::error::{StandardsError, in_range};

/// Standard uncertainty of something evenly spread within plus or minus `half_width`.
pub(super) fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

/// A scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Smallest step of its display, g.
    pub step_g: f64,
}

/// Steps that a weighed mass must have at least: below, the display's step is over 5 % of it.
const LEAST_STEPS: f64 = 20.0;

impl Balance {
    /// Standard uncertainty of a mass, g: two readings (empty and filled) within half a step, and a
    /// calibration within one step.
    pub fn uncertainty_g(&self) -> f64 {
        let reading = rectangular(self.step_g / 2.0);
        (2.0 * reading.powi(2) + rectangular(self.step_g).powi(2)).sqrt()
    }

    /// Least mass that can sensibly be weighed, g.
    pub fn least_g(&self) -> f64 {
        LEAST_STEPS * self.step_g
    }

    /// The mass on the display's steps that is nearest.
    pub fn rounded_g(&self, mass: f64) -> f64 {
        (mass / self.step_g).round() * self.step_g
    }
}

/// A syringe or graduated pipette.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Syringe {
    /// Largest volume, mL.
    pub capacity_ml: f64,
    /// Between two marks, mL.
    pub graduation_ml: f64,
    /// Limit of its error, share of the volume.
    pub tolerance: f64,
}

/// Marks that a measured volume must span at least.
const LEAST_MARKS: f64 = 10.0;
/// Fillings for one volume, at most.
const MOST_FILLINGS: f64 = 4.0;

/// A volume as a syringe measures it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Volume on the syringe's marks, mL.
    pub volume_ml: f64,
    /// Standard uncertainty of setting it to the marks, mL: new with every filling.
    pub setting_ml: f64,
    /// Relative standard uncertainty of the syringe's marks: the same whenever this syringe is used.
    pub calibration: f64,
    /// The syringe's capacity, mL.
    pub syringe_ml: f64,
    /// How often it is filled.
    pub fillings: u32,
}

impl Measure {
    /// Relative standard uncertainty.
    pub fn relative_uncertainty(&self) -> f64 {
        (self.setting_ml / self.volume_ml).hypot(self.calibration)
    }
}

impl Syringe {
    /// The volume as this syringe measures it; `None` if too small or too large for it.
    pub fn measure(&self, volume_ml: f64) -> Option<Measure> {
        let rounded = (volume_ml / self.graduation_ml).round() * self.graduation_ml;
        let fillings = (rounded / self.capacity_ml - 1e-9).ceil();
        if rounded < (LEAST_MARKS - 0.5) * self.graduation_ml || fillings > MOST_FILLINGS {
            return None;
        }
        Some(Measure {
            volume_ml: rounded,
            setting_ml: fillings.sqrt() * rectangular(self.graduation_ml / 2.0),
            calibration: rectangular(self.tolerance),
            syringe_ml: self.capacity_ml,
            fillings: fillings as u32,
        })
    }
}

/// A flask, or whatever the final volume is made up in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flask {
    /// Volume, mL.
    pub volume_ml: f64,
    /// Limit of its error, share of the volume.
    pub tolerance: f64,
}

/// Change of water's volume with temperature, 1/K, and how far rooms are from 20 degrees Celsius, K (the
/// figures of the EURACHEM/CITAC guide CG 4, example A1; from memory, not verified).
const EXPANSION_PER_K: f64 = 2.1e-4;
const ROOM_HALF_WIDTH_K: f64 = 4.0;

impl Flask {
    /// Relative standard uncertainty of its volume: its tolerance, and the room's temperature.
    pub fn relative_uncertainty(&self) -> f64 {
        rectangular(self.tolerance).hypot(rectangular(EXPANSION_PER_K * ROOM_HALF_WIDTH_K))
    }
}

/// All that is at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Ware {
    /// The scale.
    pub balance: Balance,
    /// Syringes, at least one.
    pub syringes: Vec<Syringe>,
    /// Limit of error of stock and level flasks, share of the volume.
    pub flask_tolerance: f64,
}

impl Ware {
    /// Refuses ware that measures nothing.
    pub(super) fn check(&self) -> Result<(), StandardsError> {
        in_range("the flasks' tolerance", self.flask_tolerance, -1e-9, 0.2, "0 to 20 %")?;
        in_range("the scale's step", self.balance.step_g, 0.0, 10.0, "above 0 and at most 10 g")?;
        self.syringes.iter().try_for_each(|syringe| {
            in_range(
                "a syringe's graduation",
                syringe.graduation_ml,
                0.0,
                1000.0,
                "above 0 and at most 1000 mL",
            )?;
            in_range(
                "a syringe's capacity",
                syringe.capacity_ml,
                0.0,
                1000.0,
                "above 0 and at most 1000 mL",
            )?;
            in_range("a syringe's tolerance", syringe.tolerance, -1e-9, 0.5, "0 to 50 %")
        })
    }

    /// The volume by the syringe that measures it best.
    pub fn measure(&self, volume_ml: f64) -> Option<Measure> {
        self.syringes
            .iter()
            .filter_map(|syringe| syringe.measure(volume_ml))
            .min_by(|a, b| a.relative_uncertainty().total_cmp(&b.relative_uncertainty()))
    }

    /// A flask of this ware.
    pub fn flask(&self, volume_ml: f64) -> Flask {
        Flask { volume_ml, tolerance: self.flask_tolerance }
    }

    /// Smallest volume that any syringe measures, mL.
    pub fn least_ml(&self) -> f64 {
        self.syringes.iter().map(|s| LEAST_MARKS * s.graduation_ml).fold(f64::INFINITY, f64::min)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    const SMALL: Syringe = Syringe { capacity_ml: 1.0, graduation_ml: 0.01, tolerance: 0.05 };
    const LARGE: Syringe = Syringe { capacity_ml: 10.0, graduation_ml: 0.2, tolerance: 0.04 };

    fn ware() -> Ware {
        Ware { balance: Balance { step_g: 0.01 }, syringes: vec![SMALL, LARGE], flask_tolerance: 0.01 }
    }

    /// A uniform law of half-width a has the variance a^2 / 3 (JCGM 100:2008, 4.3.7).
    #[test]
    fn a_scale_has_two_readings_and_a_calibration() {
        let u = Balance { step_g: 0.01 }.uncertainty_g();
        assert_abs_diff_eq!(
            u,
            (2.0 * 0.005_f64.powi(2) / 3.0 + 0.01_f64.powi(2) / 3.0).sqrt(),
            epsilon = 1e-12
        );
    }

    #[test]
    fn a_volume_is_set_on_the_marks_of_the_better_syringe() {
        let small = ware().measure(0.523).unwrap();
        assert_abs_diff_eq!(small.volume_ml, 0.52, epsilon = 1e-12);
        assert_eq!((small.syringe_ml, small.fillings), (1.0, 1));
        let large = ware().measure(17.3).unwrap();
        assert_eq!((large.syringe_ml, large.fillings), (10.0, 2));
        assert_abs_diff_eq!(large.volume_ml, 17.4, epsilon = 1e-9);
    }

    #[test]
    fn volumes_below_ten_marks_or_above_four_fillings_are_not_measured() {
        assert_eq!(ware().measure(0.05), None);
        assert_eq!(ware().measure(41.0), None);
        assert_abs_diff_eq!(ware().least_ml(), 0.1, epsilon = 1e-12);
    }
}
