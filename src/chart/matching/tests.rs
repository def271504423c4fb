//! The quick match against a plain one that looks at every sample by itself.

mod plain;

use proptest::prelude::*;

use super::*;
use crate::chart::Chart;
use crate::chart::optics::Priors;
use crate::sample::Veil;

fn shipped() -> Vec<Chart> {
    ["ammonia", "nitrite", "nitrate", "ph", "strip"]
        .map(|kit| {
            let file = format!("{}/calibration/rendered-{kit}.json", env!("CARGO_MANIFEST_DIR"));
            Chart::load(std::path::Path::new(&file)).unwrap()
        })
        .into()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Colours on and beside the paths, bright and dark, in plain and in mixed light.
    #[test]
    fn quick_and_plain_matches_agree_far_within_the_interval(
        chart in 0..5_usize,
        place in -0.1..1.15_f64,
        off in prop::array::uniform3(-0.12..0.12_f64),
        residual in 0.005..0.2_f64,
        lamp in -1.5..1.5_f64,
        mixed in prop::array::uniform3(-0.1..0.1_f64),
        veil_sd in 0.02..0.15_f64,
    ) {
        let chart = &shipped()[chart];
        let usual = &chart.scales[0].ruler(chart.form).unwrap().path;
        let path = &Path { priors: Priors { veil_sd, ..usual.priors }, ..usual.clone() };
        let value = path.first() + place * (path.last() - path.first());
        let light = typical_light(path, value);
        let colour = std::array::from_fn(|k| light[k] * f64::exp(off[k]));
        let circumstances = Circumstances { residual, hue_shift: residual, lamp: (lamp, 0.3), mixed, unevenness: 0.0 };
        let quick = match_colour(path, colour, &circumstances);
        let plain = plain::match_colour(path, colour, &circumstances);
        prop_assert!(
            (quick.chi_square - plain.chi_square).abs() <= 0.02 + 1e-3 * plain.chi_square,
            "{quick:?} {plain:?}"
        );
        if plain.outcome == Outcome::OffPath {
            // No interval is taken from it.
            prop_assert_eq!(quick.outcome, plain.outcome);
            return Ok(());
        }
        let tolerance = 2e-3 * plain.sd;
        prop_assert!((quick.sd - plain.sd).abs() <= tolerance, "{quick:?} {plain:?}");
        prop_assert!((quick.above - plain.above).abs() <= 1e-3, "{quick:?} {plain:?}");
        if let (Outcome::Within { value, low, high }, Outcome::Within { value: v, low: l, high: h }) =
            (quick.outcome, plain.outcome)
        {
            for (a, b) in [(value, v), (low, l), (high, h)] {
                prop_assert!((a - b).abs() <= tolerance, "{quick:?} {plain:?}");
            }
        }
    }
}

/// A colour whose likelihood has a kink where it falls by thousands within one piece of the path: drawn
/// through six samples there, a polynomial once swung up to the peak's own height.
#[test]
fn no_chance_is_made_up_where_the_likelihood_falls_steeply() {
    let chart = &shipped()[3];
    let usual = &chart.scales[0].ruler(chart.form).unwrap().path;
    let path = &Path { priors: Priors { veil_sd: 0.1245, ..usual.priors }, ..usual.clone() };
    let circumstances = Circumstances {
        residual: 0.005,
        hue_shift: 0.005,
        lamp: (0.0, 0.3),
        mixed: [0.0, -0.09344, 0.07126],
        unevenness: 0.0,
    };
    let colour = [0.279_721, 0.507_425, 0.125_563];
    let (quick, plain) =
        (match_colour(path, colour, &circumstances), plain::match_colour(path, colour, &circumstances));
    assert!((quick.sd / plain.sd - 1.0).abs() < 2e-3, "{quick:?} {plain:?}");
}

#[test]
fn an_interval_that_goes_on_beyond_the_chart_is_said_to_and_no_other() {
    for chart in shipped() {
        let path = &chart.scales[0].ruler(chart.form).unwrap().path;
        let at = |share: f64| {
            let value = path.first() + share * (path.last() - path.first());
            let circumstances = Circumstances {
                residual: 0.01,
                hue_shift: 0.01,
                lamp: (0.0, 0.3),
                mixed: [0.0; 3],
                unevenness: 0.0,
            };
            match_colour(path, typical_light(path, value), &circumstances)
        };
        assert!(at(0.99).may_be_higher, "{}: {:?}", chart.name, at(0.99));
        assert!(!at(0.1).may_be_higher, "{}: {:?}", chart.name, at(0.1));
    }
}

#[test]
fn a_veil_that_the_darkest_place_allows_is_thought_possible_and_one_it_rules_out_is_not() {
    let chart = &shipped()[1];
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let circumstances =
        Circumstances { residual: 0.02, hue_shift: 0.02, lamp: (0.0, 0.3), mixed: [0.0; 3], unevenness: 0.0 };
    let veiled = typical_light(path, 3.5).map(|light| light + 0.15);
    let high = |seen: Match| match seen.outcome {
        Outcome::Within { high, .. } => high,
        other => panic!("{other:?}"),
    };
    let usual = match_colour(path, veiled, &circumstances);
    let ruled_out = match_behind_veil(
        path,
        veiled,
        &circumstances,
        Veil { least: 0.0, most: 0.03, chance: 0.1, misled: 0.1 },
    );
    let allowed = match_behind_veil(
        path,
        veiled,
        &circumstances,
        Veil { least: 0.0, most: 0.2, chance: 0.1, misled: 0.1 },
    );
    assert_eq!(ruled_out, usual);
    assert!(high(usual) < 3.0, "{usual:?}");
    assert!(high(allowed) > 1.2 * high(usual), "{usual:?} {allowed:?}");
    assert_eq!(allowed.chi_square, usual.chi_square);
}

/// A light magenta in a shadow: the veil that brings it nearest to a blank would be below none. Held at
/// none, it must not leave the other unknowns where it would have had them.
#[test]
fn a_veil_at_its_bound_leaves_the_other_unknowns_where_they_are_best() {
    let chart = &shipped()[1];
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let circumstances = Circumstances {
        residual: 0.017,
        hue_shift: 0.09,
        lamp: (-0.75, 0.5),
        mixed: [0.0; 3],
        unevenness: 0.0,
    };
    let colour = [0.545, 0.472, 0.515];
    let (usual, veiled) = (
        match_colour(path, colour, &circumstances),
        match_behind_veil(
            path,
            colour,
            &circumstances,
            Veil { least: 0.0, most: 0.35, chance: 0.1, misled: 0.1 },
        ),
    );
    assert!((usual.sd..1.5 * usual.sd).contains(&veiled.sd), "{usual:?} {veiled:?}");
}

/// What the chi-square law makes most unlikely is unlikely for a reason that is not known: the interval of
/// a colour beside the path is wider than that of the nearest one on it.
#[test]
fn the_farther_a_colour_lies_beside_the_path_the_wider_its_interval() {
    let chart = &shipped()[1];
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let circumstances =
        Circumstances { residual: 0.01, hue_shift: 0.02, lamp: (0.0, 0.2), mixed: [0.0; 3], unevenness: 0.0 };
    let beside = |share: f64| {
        let [r, g, b] = typical_light(path, 1.0);
        match_colour(path, [r, g, b * (1.0 - share)], &circumstances)
    };
    let [on, near, far] = [0.0, 0.08, 0.12].map(beside);
    assert!(
        on.chi_square < 1.0 && near.chi_square > ORDINARY && far.chi_square < OFF_PATH,
        "{near:?} {far:?}"
    );
    assert!(near.sd > 1.2 * on.sd && far.sd > 1.2 * near.sd, "{on:?} {near:?} {far:?}");
}
