//! What a photo added to a chart gained, in words and as JSON.

use std::fmt::Write as _;

use serde_json::json;

use crate::chart::Chart;
use crate::chart::history::{Gain, Revision};
use crate::math::digits::rounded;
use crate::terms::text::printable;

/// The report for people.
pub fn text(chart: &Chart, revision: &Revision, values: &str) -> String {
    let photos: Vec<&str> = revision.photos.iter().map(|photo| photo.photo.as_str()).collect();
    let mut out = format!(
        "Chart {}, revision {}: {} added ({values})\n",
        printable(&chart.name),
        revision.revision,
        printable(&photos.join(", "))
    );
    for gain in &revision.gains {
        gain_text(&mut out, gain);
    }
    for scale in chart.scales.iter().filter(|scale| scale.is_provisional) {
        let _ = writeln!(
            out,
            "  {}: still provisional: swatches are left out as soon as standards of five levels span the printed scale",
            scale.analyte
        );
    }
    out
}

fn gain_text(out: &mut String, gain: &Gain) {
    let steps = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    let rows = [
        ("width of the 95 % interval", Some(gain.before.interval_steps), Some(gain.after.interval_steps)),
        ("error of the chart's own standards", gain.before.residual_steps, gain.after.residual_steps),
        ("cross-validated error", gain.before.cross_validated_steps, gain.after.cross_validated_steps),
    ];
    for (what, before, after) in rows {
        let _ = writeln!(
            out,
            "  {}: {what}: {} step before, {} after",
            gain.analyte,
            steps(before),
            steps(after)
        );
    }
}

/// The report for programs.
///
/// # Errors
/// If it cannot be put into JSON.
pub fn json(chart: &Chart, revision: &Revision) -> serde_json::Result<String> {
    let quality = |q: &crate::chart::quality::Quality| {
        json!({
            "interval_steps": rounded(q.interval_steps),
            "residual_steps": q.residual_steps.map(rounded),
            "cross_validated_steps": q.cross_validated_steps.map(rounded),
        })
    };
    let gains: Vec<_> = revision
        .gains
        .iter()
        .map(|gain| json!({"analyte": gain.analyte, "before": quality(&gain.before), "after": quality(&gain.after)}))
        .collect();
    let provisional: Vec<_> =
        chart.scales.iter().filter(|scale| scale.is_provisional).map(|scale| scale.analyte).collect();
    serde_json::to_string(&json!({
        "chart": chart.name,
        "revision": revision.revision,
        "photos": revision.photos,
        "gains": gains,
        "provisional": provisional,
    }))
}
