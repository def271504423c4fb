//! What the numbers of a chart's file can be. No photo and no fit gives others, so a chart that holds
//! others was damaged or made up: it is refused by name, before anything is reckoned with it.

use std::ops::RangeInclusive;

use super::file::Chart;
use super::kept::{KeptPhoto, Measured, StandardPhoto};
use super::quality::Quality;
use super::response::Response;
use super::scale::{CrossValidation, DetectionLimits, Level, Scale};
use crate::terms::Analyte;
use crate::terms::range::within;

/// Light of a sample or patch against paper. A vial gathers light like a lens, but not ten times that of
/// paper, which is nearly all that falls on it.
const LIGHT: RangeInclusive<f64> = 0.0..=10.0;
/// Decadic absorbance. Of what a photo shows, 2.4 is the most (`optics::DARKEST`), and a fit draws it on to
/// 4; at 8 a hundred-millionth of the light passes. Below zero a sample is brighter than paper: ten times,
/// as above.
const ABSORBANCE: RangeInclusive<f64> = -1.0..=8.0;
/// How much of the absorbance moves with the lamp. Ten times what is expected (`optics::LAMP_SD`): lamps one
/// standard deviation apart would make a liquid twice as dark, or clear.
const LAMP: RangeInclusive<f64> = -1.0..=1.0;
/// Variance of an absorbance: that of one that may be anything, and below zero what rounding leaves.
const DOUBT: RangeInclusive<f64> = -1e-9..=64.0;
/// Relative standard uncertainty of a standard's value: at 1 nothing is known of it.
const UNCERTAINTY: RangeInclusive<f64> = 0.0..=1.0;
/// Relative scatter over a sample: at 5 it holds colours of more than a hundredfold light.
const UNEVENNESS: RangeInclusive<f64> = 0.0..=5.0;
/// What mixed light does to a sample, natural logarithm: at 5 more than a hundredfold.
const MIXED: RangeInclusive<f64> = -5.0..=5.0;
/// Concentrations: a million mg/L would be all of the water.
const CONCENTRATION: RangeInclusive<f64> = 0.0..=1e6;
/// The pH scale as it is used of water.
const PH: RangeInclusive<f64> = 0.0..=14.0;
/// Liquid water and somewhat below, degrees Celsius.
const TEMPERATURE_C: RangeInclusive<f64> = -5.0..=100.0;
/// pH at which an indicator turns: on the scale, or a little beyond where it never turns wholly.
const TURNING_PH: RangeInclusive<f64> = -2.0..=16.0;
/// Value at which a reaction has half run out, as a multiple of the last level: what is tried lies between
/// 0.1 and 3 (`Response::candidates`), and at a thousand it is straight.
const HALF_POINT_OF_LAST: RangeInclusive<f64> = 1e-3..=1e3;
/// Levels of a scale: below two there is no path; printed scales have up to a dozen.
const LEVELS: RangeInclusive<usize> = 2..=200;
/// Neighbouring levels are at least so far apart, as a share of the scale, and a scale is so long: nobody
/// mixes standards that exactly.
const LEAST_STEP: f64 = 1e-6;
/// Longest list of anything: years of photos.
const MOST_ENTRIES: usize = 10_000;
/// Longest name of anything, characters: paths are shorter.
const MOST_TEXT: usize = 4_096;
/// Errors and widths in steps: all of a scale of the shortest steps.
const STEPS: RangeInclusive<f64> = 0.0..=1e7;
/// Highest number of a revision: one an hour for a hundred years.
const MOST_REVISIONS: u32 = 1_000_000;

/// Refuses a chart that holds what none can.
///
/// # Errors
/// The field, by its place in the file, what it holds, and what is possible there.
pub(super) fn check(chart: &Chart) -> Result<(), String> {
    chart.reference.check()?;
    if chart.scales.is_empty() {
        return Err("scales is empty: a chart has one for each analyte".to_owned());
    }
    check_lists(chart)?;
    for (k, scale) in chart.scales.iter().enumerate() {
        check_scale(scale).map_err(|why| format!("scales[{k}].{why}"))?;
    }
    for (k, standard) in chart.standards.iter().enumerate() {
        check_standard(standard, chart.photos.len()).map_err(|why| format!("standards[{k}].{why}"))?;
    }
    for (k, photo) in chart.photos.iter().enumerate() {
        check_photo(photo, chart.reference.patches.len()).map_err(|why| format!("photos[{k}].{why}"))?;
    }
    check_history(chart)
}

fn check_lists(chart: &Chart) -> Result<(), String> {
    let lists = [
        ("reference.patches", chart.reference.patches.len()),
        ("scales", chart.scales.len()),
        ("standards", chart.standards.len()),
        ("photos", chart.photos.len()),
        ("history", chart.history.len()),
    ];
    if let Some((list, length)) = lists.into_iter().find(|(_, length)| *length > MOST_ENTRIES) {
        return Err(format!("{list} has {length} entries, but {MOST_ENTRIES} at most are possible"));
    }
    short("name", &chart.name)
}

fn short(place: &str, text: &str) -> Result<(), String> {
    match text.chars().count() {
        length if length > MOST_TEXT => {
            Err(format!("{place} is {length} characters long, but {MOST_TEXT} at most are possible"))
        }
        _ => Ok(()),
    }
}

fn channels(place: &str, numbers: [f64; 3], range: &RangeInclusive<f64>, what: &str) -> Result<(), String> {
    numbers
        .iter()
        .enumerate()
        .try_for_each(|(k, &number)| within(format_args!("{place}[{k}]"), number, range.clone(), what))
}

/// Values that an analyte can have.
fn values(analyte: Analyte) -> RangeInclusive<f64> {
    match analyte {
        Analyte::Ph => PH,
        Analyte::Temperature => TEMPERATURE_C,
        _ => CONCENTRATION,
    }
}

fn check_value(place: &str, value: f64, analyte: Analyte) -> Result<(), String> {
    within(format_args!("{place}"), value, values(analyte), &format!("a value of {analyte}"))
}

fn check_scale(scale: &Scale) -> Result<(), String> {
    let analyte = scale.analyte;
    if !scale.unit.measures(analyte) {
        return Err(format!("unit is {}, in which {analyte} is not counted", scale.unit.label()));
    }
    if !LEVELS.contains(&scale.levels.len()) {
        return Err(format!(
            "levels has {} entries, but {} to {} are possible",
            scale.levels.len(),
            LEVELS.start(),
            LEVELS.end()
        ));
    }
    for (k, level) in scale.levels.iter().enumerate() {
        check_level(level, analyte).map_err(|why| format!("levels[{k}].{why}"))?;
    }
    check_order(&scale.levels)?;
    check_response(scale)?;
    for (row, numbers) in scale.lamp.iter().enumerate() {
        channels(&format!("lamp[{row}]"), *numbers, &LAMP, "what moves with the lamp")?;
    }
    scale.limits.as_ref().map_or(Ok(()), check_limits)?;
    scale.cross_validation.as_ref().map_or(Ok(()), check_cross_validation)
}

fn check_level(level: &Level, analyte: Analyte) -> Result<(), String> {
    check_value("value", level.value, analyte)?;
    channels("absorbance", level.absorbance, &ABSORBANCE, "an absorbance")?;
    channels("doubt", level.doubt, &DOUBT, "the variance of an absorbance")?;
    within(format_args!("uncertainty"), level.uncertainty, UNCERTAINTY, "a relative uncertainty")
}

fn check_order(levels: &[Level]) -> Result<(), String> {
    let extent = levels[levels.len() - 1].value - levels[0].value;
    let least = LEAST_STEP * extent.max(1.0);
    match (1..levels.len()).find(|&k| levels[k].value - levels[k - 1].value < least) {
        Some(k) => Err(format!(
            "levels[{k}].value is {}, but the level before is {}: levels increase by {least} at least",
            levels[k].value,
            levels[k - 1].value
        )),
        None => Ok(()),
    }
}

fn check_response(scale: &Scale) -> Result<(), String> {
    let last = scale.levels[scale.levels.len() - 1].value;
    let (half_point, range) = match scale.response {
        Response::Indicator { half_point } => (half_point, TURNING_PH),
        Response::Saturating { half_point } => {
            (half_point, HALF_POINT_OF_LAST.start() * last..=HALF_POINT_OF_LAST.end() * last)
        }
    };
    within(format_args!("response.half_point"), half_point, range, "where half has reacted")
}

fn check_limits(limits: &DetectionLimits) -> Result<(), String> {
    let DetectionLimits { blank_sd, decision, detection } = *limits;
    [("blank_sd", blank_sd), ("decision", decision), ("detection", detection)].into_iter().try_for_each(
        |(field, value)| {
            within(format_args!("limits.{field}"), value, CONCENTRATION, "what is told from a blank")
        },
    )
}

fn check_cross_validation(check: &CrossValidation) -> Result<(), String> {
    let steps = [("median_steps", check.median_steps), ("p95_steps", check.p95_steps)];
    for (field, value) in steps {
        within(format_args!("cross_validation.{field}"), value, STEPS, "an error")?;
    }
    within(format_args!("cross_validation.coverage"), check.coverage, 0.0..=1.0, "a share")
}

fn check_standard(standard: &StandardPhoto, photos: usize) -> Result<(), String> {
    short("photo", &standard.photo)?;
    check_value("value", standard.value, standard.analyte)?;
    channels("colour", standard.colour, &LIGHT, "light against paper")?;
    let Some(Measured { photo, colour, uncertainty, unevenness, .. }) = standard.measured else {
        return Ok(());
    };
    if photo >= photos {
        return Err(format!("measured.photo is {photo}, but the chart keeps {photos} photos, from 0"));
    }
    channels("measured.colour", colour, &LIGHT, "light against paper")?;
    within(format_args!("measured.uncertainty"), uncertainty, UNCERTAINTY, "a relative uncertainty")?;
    within(format_args!("measured.unevenness"), unevenness, UNEVENNESS, "scatter over a sample")
}

fn check_photo(photo: &KeptPhoto, patches: usize) -> Result<(), String> {
    short("photo", &photo.photo)?;
    short("hash", &photo.hash)?;
    if photo.patches.len() != patches || photo.clipped > patches {
        return Err(format!(
            "patches has {} entries and {} clipped, but the card has {patches}",
            photo.patches.len(),
            photo.clipped
        ));
    }
    for (k, patch) in photo.patches.iter().enumerate() {
        if let Some(light) = patch {
            channels(&format!("patches[{k}]"), *light, &LIGHT, "light against paper")?;
        }
    }
    channels("mixed", photo.mixed, &MIXED, "what mixed light does")
}

fn check_history(chart: &Chart) -> Result<(), String> {
    for (k, revision) in chart.history.iter().enumerate() {
        let number = revision.revision;
        if !(1..=MOST_REVISIONS).contains(&number) {
            return Err(format!(
                "history[{k}].revision is {number}, but revisions are numbered from 1 to {MOST_REVISIONS} at most"
            ));
        }
        for source in &revision.photos {
            short(&format!("history[{k}].photos"), &source.photo)?;
            short(&format!("history[{k}].photos"), &source.hash)?;
        }
        for gain in &revision.gains {
            for (when, quality) in [("before", &gain.before), ("after", &gain.after)] {
                check_quality(quality).map_err(|why| format!("history[{k}].gains.{when}.{why}"))?;
            }
        }
    }
    Ok(())
}

fn check_quality(quality: &Quality) -> Result<(), String> {
    let figures = [
        ("interval_steps", Some(quality.interval_steps)),
        ("residual_steps", quality.residual_steps),
        ("cross_validated_steps", quality.cross_validated_steps),
    ];
    figures.into_iter().filter_map(|(field, value)| Some((field, value?))).try_for_each(|(field, value)| {
        within(format_args!("{field}"), value, STEPS, "a width or an error in steps")
    })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use serde_json::{Value, json};

    use super::*;
    use crate::chart::shipped;

    const VIAL: &str = include_str!("../../calibration/rendered-ph.json");
    const STRIP: &str = include_str!("../../calibration/rendered-strip.json");

    fn parsed(chart: &Value) -> Result<Chart, String> {
        let text = serde_json::to_vec(chart).unwrap();
        Chart::parse(&text, Path::new("june.json")).map_err(|error| error.to_string())
    }

    /// The message with which a chart is refused that holds this in this place.
    #[track_caller]
    fn refused(text: &str, place: &str, held: Value) -> String {
        let mut chart: Value = serde_json::from_str(text).unwrap();
        *chart.pointer_mut(place).unwrap_or_else(|| panic!("{place}")) = held;
        let message = parsed(&chart).expect_err(place);
        assert!(message.starts_with("june.json: ") && message.contains("tintwell calibrate"), "{message}");
        message
    }

    #[test]
    fn numbers_that_no_chart_can_hold_are_refused_by_their_place() {
        let absurd = [
            ("/reference/patches/3/1", 0.0, "reference.patches[3][1] is 0"),
            ("/reference/patches/3/1", 11.0, "reference.patches[3][1] is 11"),
            ("/reference/mean/70", 0.41, "reference.mean[70]"),
            ("/reference/direction/0", -1.1, "reference.direction[0]"),
            ("/reference/score_sd", 0.0, "reference.score_sd"),
            ("/reference/score_sd", 1e9, "reference.score_sd"),
            ("/reference/rest", -1.0, "reference.rest"),
            ("/scales/0/levels/2/value", -7.0, "scales[0].levels[2].value is -7"),
            ("/scales/0/levels/2/value", 15.0, "a value of ph lies between 0 and 14"),
            ("/scales/0/levels/2/absorbance/1", 9.0, "scales[0].levels[2].absorbance[1] is 9"),
            ("/scales/0/levels/2/absorbance/1", -1.5, "scales[0].levels[2].absorbance[1]"),
            ("/scales/0/levels/2/doubt/0", -1e-6, "scales[0].levels[2].doubt[0]"),
            ("/scales/0/levels/2/doubt/0", 1e300, "scales[0].levels[2].doubt[0]"),
            ("/scales/0/levels/2/uncertainty", 1.5, "scales[0].levels[2].uncertainty"),
            ("/scales/0/levels/2/uncertainty", -0.1, "scales[0].levels[2].uncertainty"),
            ("/scales/0/lamp/2/1", 300_800.0, "scales[0].lamp[2][1] is 300800"),
            ("/scales/0/lamp/2/1", -1.01, "scales[0].lamp[2][1]"),
            ("/scales/0/response/half_point", 17.0, "scales[0].response.half_point"),
            ("/scales/0/cross_validation/coverage", 1.1, "scales[0].cross_validation.coverage"),
            ("/scales/0/cross_validation/median_steps", -1.0, "scales[0].cross_validation.median_steps"),
            ("/standards/4/value", 14.5, "standards[4].value"),
            ("/standards/4/colour/2", -0.1, "standards[4].colour[2]"),
            ("/standards/4/measured/colour/2", 10.5, "standards[4].measured.colour[2]"),
            ("/standards/4/measured/uncertainty", 2.0, "standards[4].measured.uncertainty"),
            ("/standards/4/measured/unevenness", -0.1, "standards[4].measured.unevenness"),
            ("/photos/5/patches/1/0", 1e200, "photos[5].patches[1][0]"),
            ("/photos/5/mixed/1", 6.0, "photos[5].mixed[1]"),
        ];
        for (place, number, said) in absurd {
            let message = refused(VIAL, place, number.into());
            assert!(message.contains(said), "{message}");
        }
    }

    #[test]
    fn values_are_those_of_their_analyte() {
        let said = refused(STRIP, "/scales/0/levels/3/value", json!(-1.0));
        assert!(said.contains("a value of nitrate lies between 0 and 1000000"), "{said}");
        let said = refused(STRIP, "/scales/0/unit", json!("pH"));
        assert!(said.contains("scales[0].unit is pH, in which nitrate is not counted"), "{said}");
        let said = refused(STRIP, "/scales/0/response/half_point", json!(1e9));
        assert!(said.contains("scales[0].response.half_point"), "{said}");
        let limits = json!({"blank_sd": 0.1, "decision": -0.2, "detection": 0.3});
        let said = refused(STRIP, "/scales/0/limits", limits);
        assert!(said.contains("scales[0].limits.decision is -0.2"), "{said}");
    }

    #[test]
    fn levels_out_of_order_or_all_but_alike_are_refused() {
        let said = refused(VIAL, "/scales/0/levels/2/value", json!(6.0));
        assert!(said.contains("scales[0].levels[2].value is 6, but the level before is 6.4"), "{said}");
        let said = refused(VIAL, "/scales/0/levels/1/value", json!(6.000_000_1));
        assert!(said.contains("levels increase by"), "{said}");
    }

    #[test]
    fn what_is_no_finite_number_is_refused_by_its_line_or_kind() {
        for number in ["1e999", "-1e999", "NaN", "null", "\"many\""] {
            let text = VIAL.replacen("\"score_sd\": ", &format!("\"score_sd\": {number}, \"was\": "), 1);
            let error = Chart::parse(text.as_bytes(), Path::new("june.json")).unwrap_err().to_string();
            assert!(error.contains("june.json") && error.contains("tintwell calibrate"), "{error}");
            let is_placed = error.contains("line 279 column") || error.contains("expected f64");
            assert!(is_placed, "{number}: {error}");
        }
    }

    #[test]
    fn lists_and_words_beyond_all_bounds_are_refused() {
        let chart: Value = serde_json::from_str(VIAL).unwrap();
        let photo = chart["photos"][0].clone();
        let level = chart["scales"][0]["levels"][0].clone();
        let long = "a".repeat(MOST_TEXT + 1);
        let cases = [
            ("/photos", json!(vec![photo; MOST_ENTRIES + 1]), "photos has 10001 entries"),
            ("/scales/0/levels", json!(vec![level.clone(); 201]), "scales[0].levels has 201 entries"),
            ("/scales/0/levels", json!([level]), "scales[0].levels has 1 entries"),
            ("/scales", json!([]), "scales is empty"),
            ("/name", json!(long), "name is 4097 characters long"),
            ("/photos/2/hash", json!(long), "photos[2].hash is 4097"),
            ("/history/0/photos/0/photo", json!(long), "history[0].photos is 4097"),
            ("/history/0/revision", json!(u32::MAX), "history[0].revision is 4294967295"),
            ("/reference/patches", json!([]), "reference holds 0 patches"),
            ("/photos/2/patches", json!([null]), "photos[2].patches has 1 entries"),
            ("/standards/3/measured/photo", json!(99), "standards[3].measured.photo is 99"),
            ("/leaflet", json!({"coldest_c": -300.0}), "leaflet: the kit's temperatures"),
        ];
        for (place, held, said) in cases {
            let mut text: Value = serde_json::from_str(VIAL).unwrap();
            text["leaflet"] = json!({});
            let message = refused(&text.to_string(), place, held);
            assert!(message.contains(said), "{place}: {message}");
        }
    }

    #[test]
    fn figures_of_the_history_are_held_too() {
        let quality = json!({"interval_steps": -1.0});
        let gain = json!([{"analyte": "ph", "before": quality, "after": quality}]);
        let mut chart: Value = serde_json::from_str(VIAL).unwrap();
        chart["history"][0]["gains"] = gain;
        let message = parsed(&chart).unwrap_err();
        assert!(message.contains("history[0].gains.before.interval_steps is -1"), "{message}");
    }

    #[test]
    fn a_chart_that_could_not_be_read_again_is_not_written() {
        let mut chart = shipped::find("rendered-ph").unwrap().unwrap();
        chart.scales[0].levels[1].uncertainty = 3.0;
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("june.json");
        let said = chart.save(&file).unwrap_err().to_string();
        assert!(said.contains("scales[0].levels[1].uncertainty is 3") && said.contains("correct"), "{said}");
        assert!(!file.exists());
    }
}
