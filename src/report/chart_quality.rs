//! A chart's quality report, in words and as JSON.

use std::fmt::Write as _;
use std::path::Path;

use serde_json::json;

use crate::chart::{Chart, Scale};
use crate::math::digits::rounded;
use crate::terms::text::{printable, shown};

/// How the chart was made.
pub struct Made<'a> {
    /// Its file.
    pub path: &'a Path,
    /// Photos or pads left out.
    pub refused: usize,
    /// The picture of the swatches or pads found.
    pub found: Option<&'a Path>,
}

/// The report for people.
pub fn text(chart: &Chart, made: &Made) -> String {
    let mut out = String::new();
    for scale in &chart.scales {
        scale_text(&mut out, chart, scale);
    }
    if !chart.leaflet.is_empty() {
        let _ = writeln!(out, "Leaflet      {}", chart.leaflet);
    }
    if made.refused > 0 {
        let _ = writeln!(out, "Left out     {} photos, for the reasons above", made.refused);
    }
    if let Some(picture) = made.found {
        let _ = writeln!(
            out,
            "Found        {} shows what was measured: look whether it is right",
            shown(picture)
        );
    }
    let _ = writeln!(out, "Written to   {}", shown(made.path));
    out
}

fn scale_text(out: &mut String, chart: &Chart, scale: &Scale) {
    let photos: usize = scale.levels.iter().map(|level| level.photos).sum();
    let levels: Vec<String> =
        scale.levels.iter().map(|level| format!("{} ({})", level.value, level.photos)).collect();
    let name = printable(&chart.name);
    let (first, last) = (scale.levels[0].value, scale.levels[scale.levels.len() - 1].value);
    let _ = writeln!(out, "Chart {name}: {} from {first} to {last} {}", scale.analyte, scale.unit);
    let _ = writeln!(out, "Levels       {} from {photos} photos: {}", scale.levels.len(), levels.join(", "));
    if let Some(limits) = scale.limits {
        let _ = writeln!(
            out,
            "Limits       not told from a blank below {}, hardly ever missed above {} {}\n             (Currie 1968: 1.645 and 3.29 standard deviations of the blank's reading)",
            rounded(limits.decision),
            rounded(limits.detection),
            scale.unit
        );
    }
    if scale.is_provisional {
        let _ = writeln!(
            out,
            "Provisional  made from printed swatches: readings are flagged and their intervals wider;\n             improve it with standards, a blank and one more first (--add PHOTO=VALUE)"
        );
        return;
    }
    match scale.cross_validation {
        Some(check) => {
            let _ = writeln!(
                out,
                "Cross-check  each of {} photos read with a chart made without it:\n             median error {:.2} step, 95 % within {:.2} step, intervals hold the true value in {:.0} %",
                check.photos,
                check.median_steps,
                check.p95_steps,
                100.0 * check.coverage
            );
        }
        None => {
            let _ = writeln!(
                out,
                "Cross-check  not possible: each level has one photo only; add a second one each"
            );
        }
    }
}

/// The report for programs.
///
/// # Errors
/// If it cannot be put into JSON.
pub fn json(chart: &Chart, made: &Made) -> serde_json::Result<String> {
    let scales: Vec<_> = chart
        .scales
        .iter()
        .map(|scale| {
            json!({
                "analyte": scale.analyte,
                "unit": scale.unit,
                "levels": scale.levels.iter().map(|level| json!({"value": level.value, "photos": level.photos})).collect::<Vec<_>>(),
                "provisional": scale.is_provisional,
                "limits": scale.limits,
                "cross_validation": scale.cross_validation,
            })
        })
        .collect();
    serde_json::to_string(&json!({
        "chart": chart.name,
        "revision": crate::chart::history::latest(&chart.history),
        "file": made.path.display().to_string(),
        "found": made.found.map(|picture| picture.display().to_string()),
        "scales": scales,
        "leaflet": chart.leaflet,
        "refused": made.refused,
    }))
}
