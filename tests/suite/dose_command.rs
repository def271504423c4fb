//! `dose` through the binary, against values worked from atomic weights and handbook tables.

use predicates::prelude::*;
use serde_json::Value;

use crate::support::home;

fn tintwell(arguments: &[&str]) -> assert_cmd::assert::Assert {
    let home = std::env::temp_dir().join("tintwell-no-such-home");
    home::tintwell(home).args(arguments).assert()
}

fn reckoned(arguments: &[&str]) -> Value {
    let run = tintwell(&[&["dose", "--json"], arguments].concat()).success();
    serde_json::from_slice(&run.get_output().stdout).unwrap()
}

fn close(value: &Value, expected: f64) {
    let value = value.as_f64().unwrap();
    assert!((value - expected).abs() <= 0.006 * expected, "{value} is not {expected}");
}

/// IUPAC atomic weights (6.281 mg/L of NH4Cl for 2 mg/L as NH3) and the handbook density of 10 % ammonia
/// (0.9575 g/mL at 20 °C).
#[test]
fn two_ppm_in_a_hundred_litres() {
    let sheet = reckoned(&["--volume", "100", "ammonia"]);
    close(&sheet["ammonium_chloride_g"], 0.628);
    close(&sheet["ammonia_solution_ml"], 2.089);
    assert!(sheet["cautions"][0].as_str().unwrap().contains("gloves"));
}

/// 14.007 / 70.90 of nitrogen for each mg of chlorine.
#[test]
fn chloramine_brings_ammonia() {
    let sheet = reckoned(&["--volume", "100", "ammonia", "--chloramine", "4"]);
    close(&sheet["chloramine_ammonia_mg_l"], 0.961);
}

/// Molar mass 84.006 g/mol; 1 meq/L of nitrification is 7.0 mg/L N.
#[test]
fn bicarbonate_and_the_doses_that_the_buffer_carries() {
    let sheet = reckoned(&["--volume", "100", "alkalinity", "--rise", "1", "--from", "2"]);
    close(&sheet["sodium_bicarbonate_g"], 8.40);
    close(&sheet["doses_left"], 4.0);
}

/// Dilution algebra: 80 to 20 at 30 % takes 3.887 changes, that is four.
#[test]
fn water_changes_are_single_or_repeated() {
    let sheet =
        reckoned(&["--volume", "100", "water", "--from", "80", "--to", "20", "--tap", "0", "--each", "30"]);
    close(&sheet["single_change_percent"], 75.0);
    close(&sheet["single_change_l"], 75.0);
    close(&sheet["repeated_changes"], 4.0);
}

#[test]
fn the_volume_comes_from_dimensions_less_what_displaces_it() {
    let sheet =
        reckoned(&["volume", "--length", "80", "--width", "35", "--height", "36", "--displaced", "8"]);
    close(&sheet["net_volume_l"], 92.8);
}

#[test]
fn without_a_volume_it_says_how_to_give_one() {
    tintwell(&["dose", "ammonia"]).failure().code(2).stderr(predicate::str::contains("--volume LITRES"));
}

#[test]
fn impossible_numbers_are_refused_by_name() {
    tintwell(&["dose", "--volume", "-5", "ammonia"])
        .failure()
        .code(2)
        .stderr(predicate::str::contains("volume"));
    tintwell(&["dose", "--volume", "100", "ammonia", "--strength", "99"])
        .failure()
        .code(2)
        .stderr(predicate::str::contains("label"));
    tintwell(&["dose", "water", "--from", "40", "--to", "10", "--tap", "20"])
        .failure()
        .code(2)
        .stderr(predicate::str::contains("tap water"));
}

#[test]
fn an_amount_in_words_carries_its_caution() {
    tintwell(&["dose", "--volume", "60", "alkalinity"])
        .success()
        .stdout(predicate::str::contains("sodium bicarbonate").and(predicate::str::contains("Caution:")));
}

/// 1 meq/L is 2.804 dKH and 50.04 mg/L CaCO3.
#[test]
fn alkalinity_is_taken_in_any_unit() {
    let grams = |rise: &str| {
        reckoned(&["--volume", "100", "alkalinity", "--rise", rise])["sodium_bicarbonate_g"].clone()
    };
    close(&grams("2.804 dKH"), grams("1").as_f64().unwrap());
    close(&grams("50.04 mg/L CaCO3"), grams("1").as_f64().unwrap());
    tintwell(&["dose", "--volume", "100", "alkalinity", "--rise", ">3"])
        .failure()
        .stderr(predicates::str::contains("plain number"));
}
