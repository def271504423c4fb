//! Recipes for standard solutions, for people and for programs.

use std::fmt::Write;

use comfy_table::{CellAlignment, Table, presets};
use serde_json::{Value, json};

use crate::math::digits::rounded;
use crate::standards::addition::Evaluation;
use crate::standards::buffer::{self, BufferRecipe, BufferRequest};
use crate::standards::{Level, Measure, Recipe, Request, Solution, Source};
use crate::terms::{Analyte, Unit};

/// What holds for every standard, whatever the salt.
const CAUTIONS: [&str; 5] = [
    "read the salt's safety data sheet first; keep salts and solutions locked away from children, animals and food",
    "never pipette by mouth, never use kitchen ware that goes back to the kitchen",
    "label every bottle: what, how much, the date, \"not for drinking\"",
    "never pour standards into a tank with animals",
    "dispose of leftovers as your local rules say",
];

/// Coverage factor of the printed uncertainties: about 95 % (JCGM 100:2008, 6.2).
const COVERAGE: f64 = 2.0;

fn number(value: f64) -> String {
    rounded(value).to_string()
}

/// An uncertainty with two significant digits.
fn uncertain(value: f64) -> String {
    let places = (1 - value.abs().log10().floor() as i32).clamp(0, 6) as usize;
    format!("{value:.places$}")
}

fn percent(share: f64) -> String {
    format!("{} %", uncertain(100.0 * share))
}

/// How a volume is measured.
fn with_syringe(measure: &Measure) -> String {
    let times =
        if measure.fillings > 1 { format!(", filled {} times", measure.fillings) } else { String::new() };
    format!("{} mL syringe{times}", number(measure.syringe_ml))
}

fn table(header: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING).set_header(header).add_rows(rows);
    for column in table.column_iter_mut() {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table.to_string()
}

/// The recipe as a page of text; `sample_ml` of tank water go into each flask in a standard addition.
pub fn recipe_text(request: &Request, recipe: &Recipe, sample_ml: Option<f64>) -> String {
    let heading = if sample_ml.is_some() { "rise" } else { "makes" };
    let header = ["wanted", "take", "of", "with", heading, "+-"];
    let levels = table(&header, recipe.levels.iter().map(level_row));
    let steps = steps(request, recipe, sample_ml);
    let notes = notes(request, recipe, sample_ml.is_some());
    format!("{}\n\n{steps}\n{levels}\n\n{notes}{}", title(request), cautions(request.salt.cautions))
}

fn title(request: &Request) -> String {
    let salt = request.salt;
    format!(
        "Standards of {} in {}, from {} ({}{}), purity {} +- {} %",
        request.analyte,
        request.unit,
        salt.name,
        salt.formula,
        hydrate(request.water),
        number(100.0 * request.purity),
        number(100.0 * request.purity_tolerance)
    )
}

/// Water of crystallisation behind a formula.
fn hydrate(water: f64) -> String {
    if water > 0.0 { format!(" with {} H2O", number(water)) } else { String::new() }
}

/// What to do, one numbered line a step.
fn steps(request: &Request, recipe: &Recipe, sample_ml: Option<f64>) -> String {
    let strength = |solution: &Solution| {
        let half_width = percent(COVERAGE * solution.relative_uncertainty());
        format!("{} {} +- {half_width}", number(solution.concentration), request.unit)
    };
    let mut steps = vec![format!(
        "Stock: weigh {} g, dissolve, make up to {} mL with pure water: {}.",
        number(recipe.mass_g),
        number(recipe.stock.volume_ml),
        strength(&recipe.stock)
    )];
    if let Some((working, portion)) = recipe.working.as_ref().and_then(|w| Some((w, w.portion?))) {
        steps.push(format!(
            "Working solution: {} mL of stock ({}), make up to {} mL: {}.",
            number(portion.volume_ml),
            with_syringe(&portion),
            number(working.volume_ml),
            strength(working)
        ));
    }
    let sample = sample_ml.map_or(String::new(), |ml| format!("{} mL of the tank's water and ", number(ml)));
    let made_up = format!("make up to {} mL with pure water", number(request.level_ml));
    steps.push(format!("Each flask: {sample}what the table says, then {made_up}."));
    steps.extend(sample_ml.map(|ml| evaluation(request, recipe, ml)));
    steps.iter().enumerate().map(|(i, step)| format!("{}. {step}\n", i + 1)).collect()
}

/// How to work out a standard addition once its flasks are read.
fn evaluation(request: &Request, recipe: &Recipe, sample_ml: f64) -> String {
    let readings: Vec<String> =
        recipe.levels.iter().map(|level| format!("{}=READING", number(level.made))).collect();
    format!(
        "Read each flask against your chart, in {}, then: tintwell standards {} --unit \"{}\" --volume {} --addition {} --evaluate {}",
        request.unit,
        request.analyte,
        request.unit,
        number(request.level_ml),
        number(sample_ml),
        readings.join(",")
    )
}

/// What the figures mean, and how long the solutions keep.
fn notes(request: &Request, recipe: &Recipe, is_addition: bool) -> String {
    let parts = recipe.stock.budget.iter().map(|(cause, u)| format!("{cause} {}", percent(COVERAGE * u)));
    let mut text = format!("+- is about 95 % (two standard uncertainties). In the stock: {}.\n", list(parts));
    text.push_str("The pure water is taken to hold none of it: test it once.\n");
    text.push_str("Go by what is really made, not by what was wanted.\n");
    if !is_addition {
        text.push_str("Sea water and very hard or coloured water can change how a test responds: --addition checks it.\n");
    }
    let keeping = request.salt.keeping;
    let _ = writeln!(
        text,
        "\nKeeping (common practice, no source): stock {} days closed, dark and cold; diluted {}.",
        keeping.stock_days,
        days(keeping.diluted_days)
    );
    text
}

fn list(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join(", ")
}

fn days(days: u32) -> String {
    if days <= 1 { "on the same day only".into() } else { format!("{days} days") }
}

fn cautions(of_salt: &[&str]) -> String {
    let mut text = String::from("\nCautions\n");
    for line in of_salt.iter().chain(&CAUTIONS) {
        let _ = writeln!(text, "- {line}");
    }
    text
}

fn level_row(level: &Level) -> Vec<String> {
    let Some(portion) = level.portion else {
        return vec![
            number(level.asked),
            "nothing".into(),
            String::new(),
            String::new(),
            "0".into(),
            String::new(),
        ];
    };
    vec![
        number(level.asked),
        format!("{} mL", number(portion.measure.volume_ml)),
        source_word(portion.source).into(),
        with_syringe(&portion.measure),
        number(level.made),
        level.uncertainty.map(|u| uncertain(COVERAGE * u)).unwrap_or_default(),
    ]
}

const fn source_word(source: Source) -> &'static str {
    match source {
        Source::Stock => "stock",
        Source::Working => "working solution",
    }
}

fn solution_json(solution: &Solution) -> Value {
    let budget =
        solution.budget.iter().map(|(cause, u)| json!({"cause": cause, "relative_standard_uncertainty": u}));
    json!({
        "concentration": solution.concentration,
        "volume_ml": solution.volume_ml,
        "stock_ml": solution.portion.map(|portion| portion.volume_ml),
        "relative_standard_uncertainty": solution.relative_uncertainty(),
        "budget": budget.collect::<Vec<_>>(),
    })
}

/// The recipe for programs.
pub fn recipe_json(request: &Request, recipe: &Recipe, sample_ml: Option<f64>) -> Value {
    let level = |level: &Level| {
        json!({
            "wanted": level.asked,
            "made": level.made,
            "standard_uncertainty": level.uncertainty,
            "shared_standard_uncertainty": level.shared_uncertainty,
            "take_ml": level.portion.map(|portion| portion.measure.volume_ml),
            "of": level.portion.map(|portion| source_word(portion.source)),
            "syringe_ml": level.portion.map(|portion| portion.measure.syringe_ml),
        })
    };
    let salt = request.salt;
    json!({
        "analyte": request.analyte,
        "unit": request.unit,
        "salt": {"word": salt.word, "name": salt.name, "formula": salt.formula, "water": request.water},
        "molar_mass": salt.hydrated_molar_mass(request.water),
        "mass_g": recipe.mass_g,
        "stock": solution_json(&recipe.stock),
        "working": recipe.working.as_ref().map(solution_json),
        "sample_ml": sample_ml,
        "level_ml": request.level_ml,
        "levels": recipe.levels.iter().map(level).collect::<Vec<_>>(),
        "keeping": {
            "stock_days": salt.keeping.stock_days,
            "diluted_days": salt.keeping.diluted_days,
            "basis": "common practice, no source",
        },
        "cautions": salt.cautions.iter().chain(&CAUTIONS).collect::<Vec<_>>(),
    })
}

/// A table to fill in with photos and give to `calibrate`: values in the analyte's default unit as they are
/// really made, and their relative standard uncertainty.
pub fn calibration_table(analyte: Analyte, unit: Unit, levels: impl Iterator<Item = (f64, f64)>) -> String {
    let mut text = String::from("photo,analyte,value,uncertainty_percent\n");
    for (made, uncertainty) in levels {
        let value = number(unit.convert(made, analyte.default_unit(), analyte).unwrap_or(made));
        let percent = if made > 0.0 { number(100.0 * uncertainty / made) } else { String::from("0") };
        let _ = writeln!(text, "{analyte}_{value}.jpg,{analyte},{value},{percent}");
    }
    text
}

/// How to mix buffers, as a page of text.
pub fn buffers_text(request: &BufferRequest, recipe: &BufferRecipe) -> String {
    let mut text = format!(
        "Standards of pH from phosphates, for {} degrees Celsius\n\n\
         1. Acid stock: {} g of potassium dihydrogen phosphate (KH2PO4), make up to {} mL.\n\
         2. Basic stock: {} g of disodium hydrogen phosphate (Na2HPO4{}), make up to {} mL.\n\
         3. Each level: mix the two, add nothing else.\n\n",
        number(request.temperature_c),
        number(recipe.acid_g),
        number(request.stock_ml),
        number(recipe.base_g),
        hydrate(request.water),
        number(request.stock_ml),
    );
    let row = |b: &buffer::Buffer| {
        let volume = |m: &Measure| format!("{} mL ({})", number(m.volume_ml), with_syringe(m));
        let expanded = uncertain(COVERAGE * b.uncertainty);
        vec![number(b.asked), volume(&b.acid), volume(&b.base), format!("{:.2}", b.made), expanded]
    };
    let rows = recipe.buffers.iter().map(row);
    let _ = writeln!(text, "{}\n", table(&["pH wanted", "acid stock", "basic stock", "makes", "+-"], rows));
    text.push_str("+- is about 95 %. Both salts must be dry; check one level with a pH meter if you can.\n");
    text.push_str("Keeping (common practice, no source): one month closed and cold, until cloudy.\n");
    text + &cautions(&["mild, yet keep them out of the eyes; phosphate feeds algae: keep it out of the tank"])
}

/// Buffers for programs.
pub fn buffers_json(request: &BufferRequest, recipe: &BufferRecipe) -> Value {
    let level = |b: &buffer::Buffer| {
        json!({
            "wanted": b.asked, "made": b.made, "standard_uncertainty": b.uncertainty,
            "acid_ml": b.acid.volume_ml, "base_ml": b.base.volume_ml,
        })
    };
    json!({
        "analyte": "ph",
        "unit": Unit::Ph,
        "temperature_c": request.temperature_c,
        "stock_ml": request.stock_ml,
        "acid": {"formula": "KH2PO4", "mass_g": recipe.acid_g},
        "base": {"formula": "Na2HPO4", "water": request.water, "mass_g": recipe.base_g},
        "levels": recipe.buffers.iter().map(level).collect::<Vec<_>>(),
        "cautions": CAUTIONS,
    })
}

/// What a standard addition found, in a few lines.
pub fn addition_text(unit: Unit, found: &Evaluation) -> String {
    let half = found.sample.half_width(0.95).unwrap_or(f64::NAN);
    let verdict = if found.is_disturbed(0.95) {
        "the water changes how the test responds: trust the value by standard addition"
    } else {
        "no sign that the water disturbs the test"
    };
    format!(
        "The tank's water holds {} {unit} (95 %: +- {}), by standard addition.\n\
         Read directly it would be {} {unit}.\n\
         Response to what was added: {:.2} (standard error {}); {verdict}.\n",
        number(found.sample.x),
        uncertain(half),
        number(found.direct),
        found.response,
        uncertain(found.response_error),
    )
}

/// What a standard addition found, for programs.
pub fn addition_json(unit: Unit, found: &Evaluation) -> Value {
    let half = found.sample.half_width(0.95);
    json!({
        "value": found.sample.x,
        "low": half.map(|half| (found.sample.x - half).max(0.0)),
        "high": half.map(|half| found.sample.x + half),
        "unit": unit,
        "standard_uncertainty": found.sample.standard_error,
        "degrees_of_freedom": found.sample.degrees,
        "direct": found.direct,
        "response": found.response,
        "response_standard_error": found.response_error,
        "disturbed": found.is_disturbed(0.95),
    })
}
