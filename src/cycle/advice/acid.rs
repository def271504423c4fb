//! Ammonia that only the acid of the water keeps from harming: whatever raises the pH sets it free.
//!
//! Bacteria that stop for want of buffer leave ammonia standing in acid water, where nearly all of it is
//! ammonium. Tap water or bicarbonate then kills within the hour what had lived in it for weeks.

use super::{Advice, HELD_CAUTION, percent_and_litres};
use crate::cycle::ammonia::un_ionised_share;
use crate::cycle::criteria::{CCME_UN_IONISED_MG_L, EIFAC_UN_IONISED_MG_L};
use crate::cycle::danger::Conditions;
use crate::cycle::series::{RECENT_DAYS, Series};
use crate::cycle::standing::standing;
use crate::terms::unit::NH3_PER_N;
use crate::terms::{Analyte, TankFacts};

/// pH of well-buffered water in balance with the air: 2.5 meq/L come to about 8.3 (carbonate equilibrium).
const BUFFERED_PH: f64 = 8.3;
/// pH below which water whose tap water's pH is not told is taken for water that has lost its buffer.
const ACID_PH: f64 = 6.8;
/// What the pH of unknown tap water is taken for: most supplies are kept alkaline against corrosion.
const USUAL_TAP_PH: f64 = 8.0;
/// The change of water that is looked at, and smaller ones to make instead, shares of the volume.
const HALF: f64 = 0.5;
const SMALLER: [f64; 3] = [0.25, 0.1, 0.05];

/// What stands in the water, and how acid it is.
struct Water {
    /// Total ammonia, mg/L NH3.
    ammonia_mg_l: f64,
    ph: f64,
    temperature_c: f64,
    salinity: f64,
}

impl Water {
    /// By recent readings; nothing if ammonia or pH lack one, or ammonia may be none.
    fn of(series: &Series, facts: &TankFacts) -> Option<Self> {
        let conditions = Conditions::of(series, facts);
        let (day, ammonia) = standing(series, facts, Analyte::Ammonia)?;
        let known = conditions.ph_known && series.now - day <= RECENT_DAYS && ammonia.lower() > 0.0;
        known.then(|| Self {
            ammonia_mg_l: ammonia.value * NH3_PER_N,
            ph: middle(conditions.ph),
            temperature_c: middle(conditions.temperature_c),
            salinity: middle(conditions.salinity),
        })
    }

    /// Un-ionised ammonia, mg/L, if the pH were `ph`.
    fn un_ionised_at(&self, ph: f64) -> f64 {
        self.ammonia_mg_l * un_ionised_share(ph, self.temperature_c, self.salinity)
    }

    /// The same after a change of `share` of the water.
    ///
    /// Alkalinity mixes, and in water whose carbon dioxide is that of the air it goes as ten to the pH (Stumm
    /// and Morgan, Aquatic Chemistry).
    fn after_change(&self, share: f64, tap_ph: f64) -> f64 {
        let mixed = tap_ph + (share + (1.0 - share) * 10_f64.powf(self.ph - tap_ph)).log10();
        (1.0 - share) * self.un_ionised_at(mixed)
    }

    /// The tap water's pH, if half a change with it would leave more of the ammonia un-ionised than there is now,
    /// and more than harms.
    fn freed_by(&self, facts: &TankFacts) -> Option<f64> {
        let tap_ph = facts.tap.ph.or((self.ph < ACID_PH).then_some(USUAL_TAP_PH))?;
        let after = self.after_change(HALF, tap_ph);
        (after > EIFAC_UN_IONISED_MG_L && after > self.un_ionised_at(self.ph)).then_some(tap_ph)
    }
}

/// The middle of what a condition may lie between.
fn middle((low, high): (f64, f64)) -> f64 {
    0.5 * (low + high)
}

/// Whether raising the buffer would set so much ammonia free that it harms, or may, no recent test telling how much
/// stands.
pub fn buffer_may_free(series: &Series, facts: &TankFacts) -> bool {
    let recent = standing(series, facts, Analyte::Ammonia).filter(|(day, _)| series.now - day <= RECENT_DAYS);
    let Some((_, ammonia)) = recent else { return true };
    let conditions = Conditions::of(series, facts);
    let share = un_ionised_share(BUFFERED_PH, middle(conditions.temperature_c), middle(conditions.salinity));
    ammonia.value * NH3_PER_N * share > EIFAC_UN_IONISED_MG_L
}

/// How to thin ammonia that an ordinary change of water would set free; nothing if it would not.
pub fn held(series: &Series, facts: &TankFacts) -> Option<Advice> {
    let water = Water::of(series, facts)?;
    let tap_ph = water.freed_by(facts)?;
    let harmless = |share: &f64| water.after_change(*share, tap_ph) < CCME_UN_IONISED_MG_L;
    let share = SMALLER.into_iter().find(harmless).unwrap_or(SMALLER[SMALLER.len() - 1]);
    let told = if facts.tap.ph.is_some() { "" } else { ", as is usual" };
    let why = format!(
        "{:.1} mg/L ammonia stand, and at pH {:.1} nearly all of it is harmless ammonium; half a change of tap water (pH {tap_ph:.1}{told}) would turn so much of it into harmful ammonia that about {:.2} mg/L NH3 stood in the water, above EIFAC: {EIFAC_UN_IONISED_MG_L} mg/L",
        water.ammonia_mg_l,
        water.ph,
        water.after_change(HALF, tap_ph),
    );
    let amount =
        format!("{} a day; test pH and ammonia before each", percent_and_litres(100.0 * share, facts));
    let action = "change only a little water at a time, and raise neither pH nor alkalinity yet";
    Some(Advice::new(action, amount, why).by_change(HELD_CAUTION))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn water(ammonia_mg_l: f64, ph: f64) -> Water {
        Water { ammonia_mg_l, ph, temperature_c: 25.0, salinity: 0.0 }
    }

    fn tap(ph: f64) -> TankFacts {
        let mut facts = TankFacts::default();
        facts.tap.ph = Some(ph);
        facts
    }

    /// By hand: half of pH 5.8 and half of pH 8 come to 8 + log10(0.503) = 7.70; pKa at 25 °C is 9.2464 (Emerson
    /// 1975), so that 2.77 % of the 3 mg/L left are un-ionised: 0.083 mg/L, from 0.0021 before.
    #[test]
    fn tap_water_sets_the_ammonia_of_acid_water_free() {
        let acid = water(6.0, 5.8);
        assert_relative_eq!(acid.un_ionised_at(5.8), 0.002_14, epsilon = 2e-5);
        assert_relative_eq!(acid.after_change(HALF, 8.0), 0.083, epsilon = 1e-3);
        assert_eq!(acid.freed_by(&tap(8.0)), Some(8.0));
        assert_eq!(acid.freed_by(&TankFacts::default()), Some(USUAL_TAP_PH));
    }

    #[test]
    fn tap_water_that_is_no_less_acid_or_little_ammonia_is_no_trap() {
        assert_eq!(water(6.0, 5.8).freed_by(&tap(6.0)), None);
        assert_eq!(water(0.3, 6.3).freed_by(&tap(7.5)), None);
        assert_eq!(water(6.0, 8.0).freed_by(&tap(8.0)), None);
        assert_eq!(water(6.0, 7.6).freed_by(&TankFacts::default()), None);
    }
}
