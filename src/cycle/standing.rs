//! What stands in the water now: the latest reading, with what was logged since.

use super::series::{Level, Series, VOLUME_FACTOR};
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};
use crate::terms::{Analyte, EventKind, TankFacts};

/// Error of a change of water as it is told, share of the volume.
const CHANGE_SD: f64 = 0.05;
/// Error of a dose just given, and what an hour of bacteria adds to it up to a day, shares of the dose: after
/// a day it may be there or gone.
const DOSE_SD: (f64, f64) = (0.1, 0.4);

/// The level of ammonia, nitrite or nitrate now, mg/L as N, and the day of the reading it is reckoned from.
///
/// Changes of water thin it, and a dose of ammonia adds to it; what bacteria do in the meantime is not
/// reckoned, so that an old reading says as little as before.
pub fn standing(series: &Series, facts: &TankFacts, analyte: Analyte) -> Option<(f64, Level)> {
    let (day, mut level) = series.latest(analyte)?;
    let tap = tap_n(facts, analyte);
    for dated in series.deeds.iter().filter(|dated| dated.day > day) {
        match dated.deed.kind {
            EventKind::WaterChange => {
                let share = (dated.amount() / 100.0).clamp(0.0, 1.0);
                let doubt = CHANGE_SD.min(1.0 - share) * (level.value - tap).abs();
                level.value += share * (tap - level.value);
                level.sd = (level.sd * (1.0 - share)).hypot(doubt);
            }
            EventKind::AmmoniaDose if analyte == Analyte::Ammonia => {
                let dose = dated.amount() * VOLUME_FACTOR / NH3_PER_N;
                let age = (series.now - dated.day).clamp(0.0, 1.0);
                level.value += dose;
                level.sd = level.sd.hypot(dose * (DOSE_SD.0 + DOSE_SD.1 * age));
            }
            _ => {}
        }
    }
    Some((day, level))
}

/// In the tap water, mg/L as N.
fn tap_n(facts: &TankFacts, analyte: Analyte) -> f64 {
    match analyte {
        Analyte::Ammonia => facts.tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
        Analyte::Nitrate => facts.tap.nitrate_mg_l.unwrap_or(0.0) / NO3_PER_N,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::{Deed, TankHistory};
    use crate::reading::{Measurement, Status};
    use approx::assert_relative_eq;
    use chrono::{DateTime, Duration, FixedOffset};

    fn hour(hour: i64) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap() + Duration::hours(hour)
    }

    /// A reading at hour 10, and what was done; judged at hour 20.
    fn stands(analyte: Analyte, value: f64, deeds: &[(EventKind, f64, i64)]) -> Level {
        let reading = Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: Some(0.9 * value),
            high: Some(1.1 * value),
            taken_at: hour(10),
            flags: Vec::new(),
        };
        let deed = |&(kind, amount, at): &(EventKind, f64, i64)| Deed {
            kind,
            amount: Some(amount),
            at: hour(at),
            note: String::new(),
            is_supposed: false,
        };
        let mut facts = TankFacts::default();
        facts.tap.nitrate_mg_l = Some(10.0);
        let deeds = deeds.iter().map(deed).collect();
        let history = TankHistory { facts: facts.clone(), measurements: vec![reading], deeds };
        standing(&Series::new(&history, hour(20)), &facts, analyte).unwrap().1
    }

    /// Mixing by hand: 80 mg/L with half of 10 mg/L gives 45; after another quarter 36.25.
    #[test]
    fn changes_of_water_since_the_reading_thin_it_and_earlier_ones_do_not() {
        let change = |amount, at| (EventKind::WaterChange, amount, at);
        let nitrate = |deeds: &[_]| stands(Analyte::Nitrate, 80.0, deeds).value * NO3_PER_N;
        assert_relative_eq!(nitrate(&[change(50.0, 5)]), 80.0, epsilon = 1e-9);
        assert_relative_eq!(nitrate(&[change(50.0, 12)]), 45.0, epsilon = 1e-9);
        assert_relative_eq!(nitrate(&[change(50.0, 12), change(25.0, 13)]), 36.25, epsilon = 1e-9);
        let all = stands(Analyte::Nitrite, 2.0, &[change(100.0, 12)]);
        assert_relative_eq!(all.value, 0.0, epsilon = 1e-9);
    }

    #[test]
    fn a_fresh_dose_surely_stands_and_an_old_one_perhaps() {
        let dosed = |at| stands(Analyte::Ammonia, 0.01, &[(EventKind::AmmoniaDose, 2.0, at)]);
        assert!(dosed(20).lower() * NH3_PER_N > 1.5, "{:?}", dosed(20));
        assert!(dosed(11).lower() < dosed(20).lower() && dosed(11).upper() > dosed(20).upper());
    }
}
