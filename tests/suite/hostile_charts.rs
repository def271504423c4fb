//! Charts from elsewhere: whatever numbers a file holds, it is refused, or every match on it is sound.

use std::path::Path;

use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::{RngSeed, TestRunner};
use serde_json::Value;
use tintwell::chart::matching::{Asked, match_together};
use tintwell::chart::{Chart, Circumstances, Match, Outcome, Ruler, shipped};
use tintwell::sample::Veil;

fn parsed(chart: &Value) -> Option<Chart> {
    Chart::parse(&serde_json::to_vec(chart).unwrap(), Path::new("chart.json")).ok()
}

fn shipped_charts() -> Vec<Value> {
    let value = |name| serde_json::to_value(shipped::find(name).unwrap().unwrap()).unwrap();
    shipped::names().map(value).collect()
}

/// Places of all numbers below a value.
fn numbers(value: &Value, place: &str, all: &mut Vec<String>) {
    match value {
        Value::Number(_) => all.push(place.to_owned()),
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(k, item)| numbers(item, &format!("{place}/{k}"), all));
        }
        Value::Object(fields) => {
            fields.iter().for_each(|(name, field)| numbers(field, &format!("{place}/{name}"), all));
        }
        _ => {}
    }
}

/// Colours from a ten-thousandth of paper's light to one and a half times, in photos good and bad.
fn questions() -> impl Strategy<Value = ([f64; 3], Circumstances, Veil)> {
    let light = || (-4.0..0.2_f64).prop_map(|log| 10_f64.powf(log));
    let colour = prop::array::uniform3(light());
    let circumstances =
        (0.0..0.25, 0.0..0.3, (-1.5..1.5, 0.15..1.2), prop::array::uniform3(0.0..0.3), 0.0..0.3).prop_map(
            |(residual, hue_shift, lamp, mixed, unevenness)| Circumstances {
                residual,
                hue_shift,
                lamp,
                mixed,
                unevenness,
            },
        );
    let veil = (0.0..0.2, 0.0..0.3, 0.0..0.9, 0.0..0.3).prop_map(|(least, more, chance, misled)| Veil {
        least,
        most: least + more,
        chance,
        misled,
    });
    (colour, circumstances, veil)
}

fn assert_sound(matched: &Match, ruler: &Ruler) {
    let (first, last) = (ruler.path.first(), ruler.path.last());
    match matched.outcome {
        Outcome::Within { value, low, high } => {
            assert!([value, low, high, matched.sd].iter().all(|number| number.is_finite()), "{matched:?}");
            assert!(low <= value && value <= high && high <= last && value >= first, "{matched:?}");
        }
        Outcome::Above { low } => assert!((first..=last).contains(&low), "{matched:?}"),
        Outcome::OffPath => {}
    }
    assert!((0.0..=1.0 + 1e-9).contains(&matched.veiled), "{matched:?}");
}

fn assert_all_matches_sound(chart: &Chart, (colour, circumstances, veil): ([f64; 3], Circumstances, Veil)) {
    let rulers: Vec<&Ruler> = chart.scales.iter().map(|scale| scale.ruler(chart.form).unwrap()).collect();
    for ruler in &rulers {
        assert_sound(&ruler.match_colour(colour, &circumstances), ruler);
        assert_sound(&ruler.match_behind_veil(colour, &circumstances, veil), ruler);
        if let Some(place) = ruler.nearest.place(colour) {
            assert!(place.value.is_finite() && place.distance.is_finite(), "{place:?}");
        }
    }
    let asked: Vec<Asked> = rulers
        .iter()
        .map(|ruler| Asked { path: &ruler.path, colour, circumstances, veil: Some(veil) })
        .collect();
    match_together(&asked).iter().zip(&rulers).for_each(|(matched, ruler)| assert_sound(matched, ruler));
}

/// A scale with any numbers a chart can hold.
fn any_scale() -> impl Strategy<Value = Value> {
    let number = |low: f64, high: f64| prop_oneof![4 => low..high, 1 => Just(low), 1 => Just(high), 1 => Just(0.0_f64.clamp(low, high))];
    let level = (
        (-6.0..5.0_f64).prop_map(|log| 10_f64.powf(log)),
        prop::array::uniform3(number(-1.0, 8.0)),
        prop::array::uniform3(prop_oneof![number(0.0, 64.0), number(0.0, 1e-4)]),
        prop_oneof![Just(0.0), number(0.0, 1.0)],
    );
    let levels = prop::collection::vec(level, 2..9);
    let lamp = prop::array::uniform3(prop::array::uniform3(number(-1.0, 1.0)));
    (levels, lamp, -3.0..3.0_f64, any::<bool>(), -2.0..16.0_f64).prop_map(
        |(levels, lamp, log_share, is_ph, half)| {
            let steps: Vec<f64> = levels.iter().map(|level| level.0.max(2e-6)).collect();
            let whole: f64 = steps.iter().sum();
            let scale = if is_ph { 13.9 / whole.max(13.9) } else { 10.0 / whole.max(10.0) };
            let mut value = 0.0;
            let levels: Vec<Value> = levels
                .iter()
                .zip(&steps)
                .map(|((_, absorbance, doubt, uncertainty), step)| {
                    value += (step * scale).max(2e-5);
                    serde_json::json!({"value": value, "absorbance": absorbance, "photos": 2,
                        "doubt": doubt, "uncertainty": uncertainty})
                })
                .collect();
            let response = if is_ph {
                serde_json::json!({"kind": "indicator", "half_point": half})
            } else {
                serde_json::json!({"kind": "saturating", "half_point": value * 10_f64.powf(log_share)})
            };
            let (analyte, unit) = if is_ph { ("ph", "pH") } else { ("nitrite", "mg/L NO2") };
            serde_json::json!({"analyte": analyte, "unit": unit, "levels": levels, "response": response,
                "lamp": lamp})
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    /// Some numbers of a shipped chart replaced by others, most of which make no sense.
    #[test]
    fn a_chart_with_strange_numbers_is_refused_or_matches_soundly(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec(
            (any::<prop::sample::Index>(), prop_oneof![
                -2.0..2.0_f64, (-300.0..300.0_f64).prop_map(|log| 10_f64.powf(log)), Just(0.0), Just(-1.0),
                Just(f64::MAX), Just(1e-9),
            ], any::<bool>()),
            1..4,
        ),
        question in questions(),
    ) {
        let charts = shipped_charts();
        let mut chart = which.get(charts.as_slice()).clone();
        let mut places = Vec::new();
        numbers(&chart["scales"], "/scales", &mut places);
        numbers(&chart["reference"], "/reference", &mut places);
        for (place, number, is_factor) in changes {
            let held = chart.pointer_mut(&places[place.index(places.len())]).unwrap();
            let own = held.as_f64().unwrap();
            *held = if is_factor { own * number } else { number }.into();
        }
        if let Some(chart) = parsed(&chart) {
            assert_all_matches_sound(&chart, question);
        }
    }

    /// Scales that hold any of the numbers that are taken, their bounds among them.
    #[test]
    fn a_chart_with_any_possible_numbers_matches_soundly(scale in any_scale(), question in questions()) {
        let mut chart = shipped_charts().swap_remove(0);
        chart["scales"] = serde_json::json!([scale]);
        if let Some(chart) = parsed(&chart) {
            assert_all_matches_sound(&chart, question);
        }
    }
}

/// Nearly all of the charts above are taken: else the test would say nothing.
#[test]
fn most_possible_numbers_make_a_chart() {
    let mut runner = TestRunner::deterministic();
    let mut chart = shipped_charts().swap_remove(0);
    let is_taken = |_: &usize| {
        chart["scales"] = serde_json::json!([any_scale().new_tree(&mut runner).unwrap().current()]);
        parsed(&chart).is_some()
    };
    let taken = (0..300).filter(is_taken).count();
    assert!(taken > 200, "{taken} of 300");
}
