use approx::{assert_abs_diff_eq, assert_relative_eq};
use proptest::prelude::*;

use super::*;
use crate::standards::ware::{Balance, Syringe};

fn ware() -> Ware {
    let syringe = |capacity_ml, graduation_ml, tolerance| Syringe { capacity_ml, graduation_ml, tolerance };
    Ware {
        balance: Balance { step_g: 0.01 },
        syringes: vec![syringe(1.0, 0.01, 0.05), syringe(10.0, 0.2, 0.04)],
        flask_tolerance: 0.01,
    }
}

fn request(analyte: Analyte, levels: &[f64]) -> Request {
    Request {
        analyte,
        salt: Salt::default_of(analyte).unwrap(),
        water: 0.0,
        purity: 1.0,
        purity_tolerance: 0.01,
        unit: analyte.default_unit(),
        levels: levels.to_vec(),
        level_ml: 100.0,
        stock_ml: 500.0,
        stock: None,
        ware: ware(),
    }
}

/// 3.141 g of ammonium chloride a litre is 1000 mg/L as NH3 (6.281 mg for 2 mg, molmass 2026.1.8).
#[test]
fn the_stock_follows_the_molar_masses() {
    let recipe = mix(&request(Analyte::Ammonia, &[0.0, 1.0, 8.0])).unwrap();
    assert_abs_diff_eq!(recipe.mass_g, 1.57, epsilon = 1e-9);
    assert_relative_eq!(recipe.stock.concentration, 2.0 / 6.281 * 1570.0 * 2.0, max_relative = 1e-4);
}

/// C1 V1 = C2 V2: 5 mL of 10 mg/L to 50 mL is 1.0 mg/L.
#[test]
fn what_is_made_obeys_the_dilution_law() {
    let levels = [0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0];
    let recipe = mix(&request(Analyte::Ammonia, &levels)).unwrap();
    for (level, asked) in recipe.levels.iter().zip(levels) {
        assert_relative_eq!(level.made, asked, max_relative = 0.06);
        if let Some(portion) = level.portion {
            let source = match portion.source {
                Source::Stock => &recipe.stock,
                _ => recipe.working.as_ref().unwrap(),
            };
            assert_relative_eq!(level.made * 100.0, source.concentration * portion.measure.volume_ml);
        }
    }
}

#[test]
fn small_levels_go_through_a_working_solution() {
    let recipe = mix(&request(Analyte::Ammonia, &[0.25, 8.0])).unwrap();
    assert!(recipe.working.is_some());
    assert_eq!(recipe.levels[0].portion.unwrap().source, Source::Working);
    let strong_enough = mix(&request(Analyte::Nitrate, &[20.0, 160.0])).unwrap();
    assert!(strong_enough.working.is_none());
}

/// EURACHEM/CITAC guide CG 4, example A1 (cadmium: 100.28 mg of purity 0.9999 +- 0.0001 to 100 mL; 1002.7
/// mg/L with 0.9; from memory, not verified), by the parts that this recipe has, for the same numbers: its
/// u(m) = 0.05 mg and u(V) = 0.07 mL go in as they stand.
#[test]
fn uncertainties_add_as_in_the_eurachem_example() {
    let budget = vec![("weighing", 0.05 / 100.28), ("purity", 0.000058 / 0.9999), ("flask", 0.07 / 100.0)];
    let solution = Solution { concentration: 1002.7, volume_ml: 100.0, budget, portion: None };
    assert_abs_diff_eq!(solution.concentration * solution.relative_uncertainty(), 0.9, epsilon = 0.05);
}

/// The law of propagation against 20 000 simulated preparations of the same level.
#[test]
fn propagated_uncertainty_agrees_with_simulated_mixing() {
    let two = ware();
    let one = Ware { syringes: vec![two.syringes[0]], ..two.clone() };
    simulated_and_propagated_agree(two, false);
    simulated_and_propagated_agree(one, true);
}

/// `expect_same`: whether both dilutions are measured with one syringe.
fn simulated_and_propagated_agree(ware: Ware, expect_same: bool) {
    use rand::{RngExt, SeedableRng};
    let request = Request { ware, ..request(Analyte::Nitrite, &[0.1]) };
    let recipe = mix(&request).unwrap();
    let level = &recipe.levels[0];
    let working = recipe.working.as_ref().unwrap();
    let (first, second) = (working.portion.unwrap(), level.portion.unwrap().measure);
    let is_same = first.syringe_ml == second.syringe_ml;
    assert_eq!(is_same, expect_same, "{first:?} {second:?}");
    let flask = request.ware.flask(100.0).relative_uncertainty();
    let mut random = rand_pcg::Pcg64::seed_from_u64(7);
    // Even spreads of the same standard deviation; the sum of many tends to the normal law.
    let mut even = |u: f64| u * 3.0_f64.sqrt() * random.random_range(-1.0..1.0);
    let made: Vec<f64> = (0..20_000)
        .map(|_| {
            let stock = recipe.stock.budget.iter().fold(1.0, |c, (_, u)| c * (1.0 + even(*u)));
            let marks = even(first.calibration);
            let other_marks = if is_same { marks } else { even(second.calibration) };
            let one = first.volume_ml * (1.0 + marks) + even(first.setting_ml);
            let two = second.volume_ml * (1.0 + other_marks) + even(second.setting_ml);
            stock * one / (1.0 + even(flask)) * two / (1.0 + even(flask))
        })
        .collect();
    let scale = recipe.stock.concentration / working.volume_ml / request.level_ml;
    let spread = crate::math::stats::standard_deviation(&made).unwrap() * scale;
    assert_relative_eq!(spread, level.uncertainty.unwrap(), max_relative = 0.03);
}

#[test]
fn the_shared_part_is_smaller_than_the_whole_and_the_blank_has_none() {
    let recipe = mix(&request(Analyte::Nitrate, &[0.0, 5.0, 160.0])).unwrap();
    assert_eq!((recipe.levels[0].made, recipe.levels[0].uncertainty), (0.0, None));
    for level in &recipe.levels[1..] {
        assert!(level.shared_uncertainty.unwrap() < level.uncertainty.unwrap());
    }
}

#[test]
fn impossible_dilutions_are_refused_with_the_mend() {
    let message = |request: &Request| mix(request).unwrap_err().to_string();
    let base = request(Analyte::Ammonia, &[1.0, 8.0]);
    let weak = Request { stock: Some(10.0), stock_ml: 5000.0, ..base.clone() };
    assert!(message(&weak).contains("stronger stock"), "{}", message(&weak));
    let tiny = Request { stock_ml: 10.0, ..base.clone() };
    assert!(message(&tiny).contains("a scale with steps of 0.01 g"), "{}", message(&tiny));
    let strong = Request { stock: Some(500_000.0), ..base.clone() };
    assert!(message(&strong).contains("too strong"), "{}", message(&strong));
    let traces = Request { levels: vec![1e-6], ..base.clone() };
    assert!(message(&traces).contains("none of the syringes"), "{}", message(&traces));
    let much = Request { levels: vec![400.0; 20], stock: Some(1000.0), ..base.clone() };
    assert!(message(&much).contains("--stock-volume"), "{}", message(&much));
    let wrong = Request { salt: Salt::with_word("sodium-nitrite").unwrap(), ..base.clone() };
    assert!(message(&wrong).contains("ammonium-chloride or ammonium-sulfate"), "{}", message(&wrong));
    let unit = Request { unit: Unit::MgPerLitreNo3, ..base.clone() };
    assert_eq!(message(&unit), "ammonia is not measured in mg/L NO3");
    assert_eq!(
        mix(&Request { levels: vec![-1.0], ..base.clone() }),
        Err(StandardsError::NegativeLevel(-1.0))
    );
    for levels in [vec![f64::NAN], vec![f64::INFINITY]] {
        assert!(matches!(mix(&Request { levels, ..base.clone() }), Err(StandardsError::NegativeLevel(_))));
    }
    let blunt = Ware {
        syringes: vec![Syringe { capacity_ml: 1.0, graduation_ml: f64::NAN, tolerance: 0.05 }],
        ..ware()
    };
    assert!(message(&Request { ware: blunt, ..base.clone() }).contains("a syringe's graduation"));
    assert!(message(&Request { purity: 99.0, ..base }).contains("at most 100 %"));
}

proptest! {
    #[test]
    fn whatever_can_be_mixed_is_near_what_was_asked_for(level in 0.05..50.0_f64, volume in 20.0..1000.0_f64) {
        let wanted = Request { level_ml: volume, ..request(Analyte::Nitrite, &[level]) };
        if let Ok(recipe) = mix(&wanted) {
            let made = &recipe.levels[0];
            // Ten marks at least: rounding to a mark is at most a twentieth.
            prop_assert!((made.made / level - 1.0).abs() < 0.06, "{made:?}");
            prop_assert!(made.uncertainty.unwrap() < 0.1 * made.made);
        }
    }
}
