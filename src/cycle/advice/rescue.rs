//! Animals in harmful water: what to do now, in order.

use super::{Advice, CHANGE_CAUTION, SALT_CAUTION, litres, rounded};
use crate::cycle::criteria::{CCME_UN_IONISED_MG_L, nitrite_maximum_mg_n_l, protective_chloride_mg_l};
use crate::cycle::danger::{CHLORIDE_MG_L_PER_SALINITY, Danger, Severity, any_harms, salinity_of};
use crate::cycle::dosing::{repeated_changes, single_change};
use crate::terms::unit::{NO2_PER_N, atomic_weight};
use crate::terms::{Analyte, TankFacts};

/// Largest share of the water changed at once with animals in it (common practice).
const LARGEST_CHANGE: f64 = 0.5;
/// More changes than this in a day are no help (common practice).
const MOST_CHANGES: f64 = 3.0;
/// Least share changed as a precaution: a smaller one changes nothing that a colour test could show.
const LEAST_CHANGE: f64 = 0.25;
/// Sodium chloride that holds one part of chloride.
const SALT_PER_CHLORIDE: f64 = (atomic_weight::NA + atomic_weight::CL) / atomic_weight::CL;

/// A change of water: how much, how often, and why.
struct Change {
    /// Changes of [`LARGEST_CHANGE`], or the share of a smaller single one.
    times: f64,
    /// Whether the tap water itself is no better than the target.
    tap_is_bad: bool,
    why: String,
}

/// First aid, the most urgent first; empty if nothing is known to threaten. `held` stands in place of a large
/// change of water where that would harm.
pub fn rescue(dangers: &[Danger], held: Option<Advice>, facts: &TankFacts) -> Vec<Advice> {
    let change = held.or_else(|| water_change(dangers, facts)).or_else(|| precaution(dangers, facts));
    let mut list: Vec<Advice> = change.into_iter().collect();
    let harmful_nitrite =
        |danger: &&Danger| danger.analyte == Analyte::Nitrite && danger.severity >= Severity::Harmful;
    list.extend(dangers.iter().find(harmful_nitrite).and_then(|danger| salt(danger, facts)));
    list.extend(unknown(dangers));
    if any_harms(dangers) {
        list.push(Advice::new(
            "stop feeding, add air or stir the surface, and test again",
            "in 12 hours",
            "food becomes ammonia, and damaged gills need more oxygen; if animals gasp or lie down, ask a vet",
        ));
    }
    if dangers.iter().any(|danger| danger.severity == Severity::Acute) {
        list.push(Advice::new(
            "move the animals into a running tank of the same kind of water, if there is one",
            "",
            "a colony grows within weeks, and they are harmed now",
        ));
    }
    list
}

/// One change of water against all that harms, large enough for the worst of it.
fn water_change(dangers: &[Danger], facts: &TankFacts) -> Option<Advice> {
    let changes: Vec<Change> = dangers.iter().filter_map(|danger| change_against(danger, facts)).collect();
    let times = changes.iter().map(|change| change.times).reduce(f64::max)?;
    let mut amount = match times {
        once if once <= 1.0 => litres(once * LARGEST_CHANGE, facts),
        times => {
            let times = times.ceil().min(MOST_CHANGES);
            format!("{}, {times:.0} times, some hours apart", litres(LARGEST_CHANGE, facts))
        }
    };
    if changes.iter().any(|change| change.tap_is_bad) {
        amount.push_str("; look for better water too");
    }
    let why: Vec<String> = changes.into_iter().map(|change| change.why).collect();
    Some(Advice::new("change water now", amount, why.join("; and ")).by_change(CHANGE_CAUTION))
}

/// A change of water, daily, against what surely stands in it and may harm in the long run: a tank in which
/// bacteria are still to grow around its animals is kept so (common practice).
fn precaution(dangers: &[Danger], facts: &TankFacts) -> Option<Advice> {
    let stands = |danger: &&Danger| danger.bounds.is_some_and(|(low, _)| low > 0.0);
    let watched = dangers.iter().filter(|danger| danger.severity == Severity::Watch).filter(stands);
    let changes: Vec<Change> = watched.filter_map(|danger| change_of(danger, facts)).collect();
    let share = changes.iter().map(|change| LARGEST_CHANGE * change.times).reduce(f64::max)?;
    let why: Vec<String> = changes.into_iter().map(|change| change.why).collect();
    let amount = litres(share.clamp(LEAST_CHANGE, LARGEST_CHANGE), facts);
    let why = format!("{}: a precaution while bacteria grow (common practice)", why.join("; and "));
    Some(Advice::new("change water today, and daily while this lasts", amount, why).by_change(CHANGE_CAUTION))
}

fn change_against(danger: &Danger, facts: &TankFacts) -> Option<Change> {
    (danger.severity >= Severity::Harmful).then(|| change_of(danger, facts))?
}

/// What a change of water has to do against ammonia or nitrite; against nothing else is one made at once.
fn change_of(danger: &Danger, facts: &TankFacts) -> Option<Change> {
    match danger.analyte {
        Analyte::Ammonia => ammonia(danger, facts),
        Analyte::Nitrite => nitrite(danger),
        _ => None,
    }
}

fn ammonia(danger: &Danger, facts: &TankFacts) -> Option<Change> {
    let (low, high) = danger.bounds?;
    let range =
        if high.is_finite() { format!("{low:.3} to {high:.3}") } else { format!("more than {low:.3}") };
    let beside = beside_criterion(danger);
    let why = format!("un-ionised ammonia is {range} mg/L NH3, {beside}; do not raise the pH");
    // Mixed in, the tap water's ammonia is un-ionised in the same proportion as the tank's.
    let share = danger.un_ionised_share.map_or(0.0, |share| 0.5 * (share.0 + share.1));
    let tap = share * facts.tap.ammonia_mg_l.unwrap_or(0.0);
    Some(change(middle(low, high), CCME_UN_IONISED_MG_L, tap, why))
}

fn nitrite(danger: &Danger) -> Option<Change> {
    let (low, high) = danger.bounds?;
    let target = nitrite_maximum_mg_n_l(None) * NO2_PER_N;
    let why = format!("nitrite is at least {low:.1} mg/L, {}", beside_criterion(danger));
    Some(change(middle(low, high), target, 0.0, why))
}

/// How what stands lies to the criterion that decides.
fn beside_criterion(danger: &Danger) -> String {
    match danger.severity {
        Severity::Harmful | Severity::Acute => format!("above {}", danger.criterion),
        _ => format!("perhaps too much in the long run ({})", danger.criterion),
    }
}

/// The middle of the bounds; the lower one where there is no upper.
fn middle(low: f64, high: f64) -> f64 {
    if high.is_finite() { 0.5 * (low + high) } else { low }
}

fn change(before: f64, target: f64, tap: f64, why: String) -> Change {
    let times = match single_change(before, tap, target) {
        Ok(share) if share <= LARGEST_CHANGE => Ok(share / LARGEST_CHANGE),
        Ok(_) => repeated_changes(before, tap, target, LARGEST_CHANGE),
        Err(error) => Err(error),
    };
    Change { times: times.as_ref().map_or(1.0, |times| *times), tap_is_bad: times.is_err(), why }
}

fn salt(danger: &Danger, facts: &TankFacts) -> Option<Advice> {
    let (low, high) = danger.bounds?;
    let chloride = protective_chloride_mg_l(middle(low, high) / NO2_PER_N);
    // Salt water holds chloride of its own.
    if chloride <= known_chloride(facts) {
        return None;
    }
    let grams = facts.volume_l.map(|volume| chloride * SALT_PER_CHLORIDE * volume / 1000.0);
    let amount = match grams {
        Some(grams) => format!("{} g ({chloride:.0} mg/L chloride)", rounded(grams)),
        None => format!("{chloride:.0} mg/L chloride: 1.65 mg of salt for each mg"),
    };
    let why = "ten parts of chloride to one of nitrite as N keep nitrite off the gills (common practice)";
    Some(Advice::new("add sodium chloride, if your animals stand it", amount, why).beware(SALT_CAUTION))
}

/// Chloride that the water holds at least, mg/L; none is known of in fresh water.
fn known_chloride(facts: &TankFacts) -> f64 {
    salinity_of(facts).0 * CHLORIDE_MG_L_PER_SALINITY
}

/// One test of all whose harm is unknown.
fn unknown(dangers: &[Danger]) -> Option<Advice> {
    let unknown = || dangers.iter().filter(|danger| danger.severity == Severity::Unknown);
    let tests: Vec<&str> = unknown().filter_map(|danger| danger.missing).collect();
    let (first, others) = tests.split_first()?;
    let others = others.iter().map(|test| format!(", {}", test.trim_start_matches("test ")));
    let harm: Vec<String> = unknown().map(|danger| danger.analyte.to_string()).collect();
    let why = format!(
        "animals are in the tank, and how much stands in it of what harms them is unknown ({}): it cannot be called harmless",
        harm.join(", ")
    );
    Some(Advice::new((*first).to_owned() + &others.collect::<String>(), "now", why))
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
        let list = rescue(&[danger(Analyte::Ammonia, Severity::Acute, (0.08, 0.12))], None, &tank());
        assert_eq!(list[0].action, "change water now");
        assert!(list[0].amount.contains("50 % (50 litres), 3 times"), "{}", list[0].amount);
        assert_eq!(list[0].caution, Some(CHANGE_CAUTION));
        assert!(list[1].action.contains("stop feeding"));
        assert!(list[2].action.contains("move the animals"));
    }

    /// From 0.06 mg/L NH3 (0.019 bearable) two halves are enough; nitrite of 1.2 mg/L NO2 (0.2 bearable) needs
    /// three: they are one change for both, not five.
    #[test]
    fn one_change_of_water_serves_all_that_harms() {
        let dangers = [
            danger(Analyte::Ammonia, Severity::Acute, (0.05, 0.07)),
            danger(Analyte::Nitrite, Severity::Harmful, (1.1, 1.3)),
        ];
        let list = rescue(&dangers, None, &tank());
        let changes: Vec<&Advice> = list.iter().filter(|advice| advice.action.contains("water")).collect();
        assert_eq!(changes[0].amount, "50 % (50 litres), 3 times, some hours apart");
        assert!(changes[0].why.contains("un-ionised ammonia") && changes[0].why.contains("nitrite"));
        assert_eq!(list.iter().filter(|advice| advice.action == "change water now").count(), 1);
        assert!(rescue(&dangers[..1], None, &tank())[0].amount.contains("2 times"));
    }

    /// Ten parts of chloride to one of nitrite as N: 3.284 mg/L NO2 are 1 mg/L N, 10 mg/L Cl, 1.65 g in 100 L.
    #[test]
    fn salt_against_nitrite_is_reckoned_and_cautioned() {
        let list = rescue(&[danger(Analyte::Nitrite, Severity::Harmful, (3.284, 3.284))], None, &tank());
        let salt = list.iter().find(|advice| advice.action.contains("sodium chloride")).unwrap();
        assert!(salt.amount.starts_with("1.6 g") || salt.amount.starts_with("1.7 g"), "{}", salt.amount);
        assert_eq!(salt.caution, Some(SALT_CAUTION));
    }

    /// Brackish water of salinity 1 holds some 550 mg/L of chloride, ten times the nitrite here as N; sea water more.
    #[test]
    fn no_salt_is_added_to_salt_water() {
        for water in ["brackish", "sea"] {
            let facts = TankFacts { water: Some(water.to_owned()), ..tank() };
            let list = rescue(&[danger(Analyte::Nitrite, Severity::Acute, (9.0, 15.0))], None, &facts);
            assert!(!list.iter().any(|advice| advice.action.contains("sodium")), "{list:?}");
        }
    }

    #[test]
    fn small_changes_take_the_place_of_large_ones_where_those_would_harm() {
        let held = Advice::new("change only a little water", "5 %", "acid");
        let list = rescue(&[danger(Analyte::Ammonia, Severity::Harmful, (0.03, 0.06))], Some(held), &tank());
        assert_eq!(list.iter().filter(|advice| advice.action.starts_with("change")).count(), 1, "{list:?}");
        assert_eq!(list[0].amount, "5 %");
    }

    /// From 0.046 mg/L NH3 to 0.019 takes 59 %, more than is changed at once; from 0.02 nothing that shows.
    #[test]
    fn what_may_harm_in_the_long_run_is_thinned_by_a_change_a_day() {
        let watched = |bounds| rescue(&[danger(Analyte::Ammonia, Severity::Watch, bounds)], None, &tank());
        let change = &watched((0.004, 0.088))[0];
        assert_eq!(change.action, "change water today, and daily while this lasts");
        assert_eq!(change.amount, "50 % (50 litres)");
        assert_eq!(change.caution, Some(CHANGE_CAUTION));
        assert!(!change.why.contains("above"), "{}", change.why);
        assert_eq!(watched((0.004, 0.034))[0].amount, "25 % (25 litres)");
        assert!(watched((0.0, 0.034)).is_empty(), "nothing may stand in it at all");
        let nitrate = rescue(&[danger(Analyte::Nitrate, Severity::Watch, (10.0, 20.0))], None, &tank());
        assert!(nitrate.is_empty(), "nitrate is thinned in its own time");
    }

    #[test]
    fn what_is_unknown_is_asked_for_and_never_called_harmless() {
        let list = rescue(&[danger(Analyte::Ammonia, Severity::Unknown, (0.001, 0.3))], None, &tank());
        assert_eq!(list[0].action, "test the pH");
        assert!(list[0].why.contains("cannot be called harmless"));
    }

    #[test]
    fn all_that_is_unknown_is_one_test() {
        let nitrite = Danger {
            missing: Some("test nitrite"),
            ..danger(Analyte::Nitrite, Severity::Unknown, (0.0, 1.0))
        };
        let list =
            rescue(&[danger(Analyte::Ammonia, Severity::Unknown, (0.001, 0.3)), nitrite], None, &tank());
        assert_eq!(list.iter().map(|advice| &*advice.action).collect::<Vec<_>>(), ["test the pH, nitrite"]);
        assert!(list[0].why.contains("(ammonia, nitrite)"));
    }

    #[test]
    fn sound_water_asks_for_nothing() {
        assert!(rescue(&[danger(Analyte::Ammonia, Severity::Low, (0.0, 0.001))], None, &tank()).is_empty());
    }
}
