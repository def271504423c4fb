//! Animals in harmful water: what to do now, in order.

use super::{Advice, CHANGE_CAUTION, SALT_CAUTION, rounded};
use crate::cycle::criteria::{CCME_UN_IONISED_MG_L, nitrite_maximum_mg_n_l, protective_chloride_mg_l};
use crate::cycle::danger::{Danger, Severity};
use crate::cycle::dosing::{repeated_changes, single_change};
use crate::terms::unit::{NO2_PER_N, atomic_weight};
use crate::terms::{Analyte, TankFacts};

/// Largest share of the water changed at once with animals in it (common practice).
const LARGEST_CHANGE: f64 = 0.5;
/// More changes than this in a day are no help (common practice).
const MOST_CHANGES: f64 = 3.0;
/// Sodium chloride that holds one part of chloride.
const SALT_PER_CHLORIDE: f64 = (atomic_weight::NA + atomic_weight::CL) / atomic_weight::CL;

/// First aid, the most urgent first; empty if nothing is known to threaten.
pub fn rescue(dangers: &[Danger], facts: &TankFacts) -> Vec<Advice> {
    let mut list = Vec::new();
    for danger in dangers {
        match (danger.analyte, danger.severity) {
            (Analyte::Ammonia, Severity::Acute | Severity::Harmful) => list.extend(ammonia(danger, facts)),
            (Analyte::Nitrite, Severity::Acute | Severity::Harmful) => {
                list.extend(nitrite(danger, facts));
            }
            (Analyte::Nitrate, Severity::Acute) => list.push(
                Advice::new("change water", "half of it, daily", "nitrate is far above what animals stand")
                    .beware(CHANGE_CAUTION),
            ),
            (_, Severity::Unknown) => {
                let todo = danger.missing.unwrap_or("test the water");
                list.push(Advice::new(
                    todo,
                    "now",
                    format!(
                        "animals are in the tank and the {} that harms them is unknown: it cannot be called harmless",
                        danger.analyte
                    ),
                ));
            }
            _ => {}
        }
    }
    let urgent = dangers.iter().any(|danger| danger.severity >= Severity::Harmful);
    if urgent {
        list.push(Advice::new(
            "stop feeding, add air or stir the surface, and test again",
            "in 12 hours",
            "food becomes ammonia, and damaged gills need more oxygen; if animals gasp or lie down, ask a vet",
        ));
    }
    list
}

fn ammonia(danger: &Danger, facts: &TankFacts) -> Option<Advice> {
    let (low, high) = danger.bounds?;
    let before = if high.is_finite() { 0.5 * (low + high) } else { low };
    let range =
        if high.is_finite() { format!("{low:.3} to {high:.3}") } else { format!("more than {low:.3}") };
    let why =
        format!("un-ionised ammonia is {range} mg/L NH3, above {}; do not raise the pH", danger.criterion);
    // Mixed in, the tap water's ammonia is un-ionised in the same proportion as the tank's.
    let share = danger.un_ionised_share.map_or(0.0, |share| 0.5 * (share.0 + share.1));
    let tap = share * facts.tap.ammonia_mg_l.unwrap_or(0.0);
    Some(change(before, CCME_UN_IONISED_MG_L, tap, why, facts))
}

fn nitrite(danger: &Danger, facts: &TankFacts) -> Vec<Advice> {
    let Some((low, high)) = danger.bounds else { return Vec::new() };
    let nitrite = if high.is_finite() { 0.5 * (low + high) } else { low };
    let target = nitrite_maximum_mg_n_l(None) * NO2_PER_N;
    let why = format!("nitrite is at least {low:.1} mg/L, above {}", danger.criterion);
    let chloride = protective_chloride_mg_l(nitrite / NO2_PER_N);
    let grams = facts.volume_l.map(|volume| chloride * SALT_PER_CHLORIDE * volume / 1000.0);
    let mut list = vec![change(nitrite, target, 0.0, why, facts)];
    if facts.water.as_deref() != Some("sea") {
        list.push(
            Advice::new(
                "add sodium chloride, if your animals stand it",
                match grams {
                    Some(grams) => format!("{} g ({chloride:.0} mg/L chloride)", rounded(grams)),
                    None => format!("{chloride:.0} mg/L chloride: 1.65 mg of salt for each mg"),
                },
                "ten parts of chloride to one of nitrite as N keep nitrite off the gills (common practice)",
            )
            .beware(SALT_CAUTION),
        );
    }
    list
}

fn change(before: f64, target: f64, tap: f64, why: String, facts: &TankFacts) -> Advice {
    let amount = match single_change(before, tap, target) {
        Ok(share) if share <= LARGEST_CHANGE => litres(share, facts),
        Ok(_) => match repeated_changes(before, tap, target, LARGEST_CHANGE) {
            Ok(times) => {
                let times = times.ceil().min(MOST_CHANGES);
                format!("{}, {times:.0} times, some hours apart", litres(LARGEST_CHANGE, facts))
            }
            Err(_) => litres(LARGEST_CHANGE, facts),
        },
        Err(_) => format!("{}; look for better water too", litres(LARGEST_CHANGE, facts)),
    };
    Advice::new("change water now", amount, why).beware(CHANGE_CAUTION)
}

fn litres(share: f64, facts: &TankFacts) -> String {
    let percent = (20.0 * share).ceil() * 5.0;
    match facts.volume_l {
        Some(volume) => format!("{percent:.0} % ({:.0} litres)", percent / 100.0 * volume),
        None => format!("{percent:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn danger(analyte: Analyte, severity: Severity, bounds: (f64, f64)) -> Danger {
        Danger {
            analyte,
            severity,
            bounds: Some(bounds),
            un_ionised_share: Some((0.04, 0.06)),
            criterion: "a criterion".to_owned(),
            missing: Some("test the pH"),
        }
    }

    fn tank() -> TankFacts {
        TankFacts { volume_l: Some(100.0), ..TankFacts::default() }
    }

    #[test]
    fn much_ammonia_means_repeated_changes_in_litres_and_no_food() {
        let list = rescue(&[danger(Analyte::Ammonia, Severity::Acute, (0.08, 0.12))], &tank());
        assert_eq!(list[0].action, "change water now");
        assert!(list[0].amount.contains("50 % (50 litres), 3 times"), "{}", list[0].amount);
        assert_eq!(list[0].caution, Some(CHANGE_CAUTION));
        assert!(list.last().unwrap().action.contains("stop feeding"));
    }

    /// Ten parts of chloride to one of nitrite as N: 3.284 mg/L NO2 are 1 mg/L N, 10 mg/L Cl, 1.65 g in 100 L.
    #[test]
    fn salt_against_nitrite_is_reckoned_and_cautioned() {
        let list = rescue(&[danger(Analyte::Nitrite, Severity::Harmful, (3.284, 3.284))], &tank());
        let salt = list.iter().find(|advice| advice.action.contains("sodium chloride")).unwrap();
        assert!(salt.amount.starts_with("1.6 g") || salt.amount.starts_with("1.7 g"), "{}", salt.amount);
        assert_eq!(salt.caution, Some(SALT_CAUTION));
    }

    #[test]
    fn what_is_unknown_is_asked_for_and_never_called_harmless() {
        let list = rescue(&[danger(Analyte::Ammonia, Severity::Unknown, (0.001, 0.3))], &tank());
        assert_eq!(list[0].action, "test the pH");
        assert!(list[0].why.contains("cannot be called harmless"));
    }

    #[test]
    fn sound_water_asks_for_nothing() {
        assert!(rescue(&[danger(Analyte::Ammonia, Severity::Low, (0.0, 0.001))], &tank()).is_empty());
    }
}
