//! How well a chart reads photos of known values: a table for each analyte.

use std::fmt::Write as _;

use serde::Serialize;

use crate::chart::path::Path;
use crate::math::digits::rounded;
use crate::math::stats;
use crate::reading::{Sighting, Status};
use crate::terms::Analyte;

/// One photo read against its known value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Case {
    photo: String,
    analyte: Analyte,
    known: f64,
    status: Status,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    /// Difference from the known value, unit of the scale.
    error: Option<f64>,
    /// The same in steps.
    error_steps: Option<f64>,
    /// Whether the interval holds the known value.
    held: Option<bool>,
    reason: Option<String>,
}

impl Case {
    /// Compares a sighting with what is known; `path` is that of the analyte's scale.
    pub fn new(photo: &str, analyte: Analyte, known: f64, sighting: &Sighting, path: &Path) -> Self {
        let error = sighting.value.filter(|_| sighting.status != Status::Refused).map(|value| value - known);
        let top = path.last();
        let held = match sighting.status {
            Status::Refused => None,
            Status::AboveRange => sighting.low.map(|low| low <= known),
            _ => sighting
                .low
                .zip(sighting.high)
                .map(|(low, high)| low <= known && (known <= high || (high >= top && known >= top))),
        };
        Self {
            photo: photo.to_owned(),
            analyte,
            known,
            status: sighting.status,
            value: sighting.value.map(rounded),
            low: sighting.low.map(rounded),
            high: sighting.high.map(rounded),
            error: error.map(rounded),
            error_steps: error.map(|error| rounded(error / path.step_at(known))),
            held,
            reason: sighting.reason.clone(),
        }
    }

    /// One line of JSON.
    ///
    /// # Errors
    /// If it cannot be put into JSON.
    pub fn json(&self) -> serde_json::Result<String> {
        serde_json::to_string(self)
    }

    /// Off by more than a step while the interval excludes the known value.
    fn is_gross(&self) -> bool {
        self.held == Some(false) && self.error_steps.is_none_or(|error| error.abs() > 1.0)
    }
}

/// Figures of one analyte.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Figures {
    analyte: Analyte,
    photos: usize,
    refused: usize,
    above_range: usize,
    median_error_steps: Option<f64>,
    p95_error_steps: Option<f64>,
    median_error: Option<f64>,
    p95_error: Option<f64>,
    coverage: Option<f64>,
    silent_gross_errors: usize,
}

fn figures(cases: &[Case]) -> Vec<Figures> {
    let present = |analyte: &Analyte| cases.iter().any(|case| case.analyte == *analyte);
    Analyte::ALL.into_iter().filter(present).map(|analyte| figures_of(analyte, cases)).collect()
}

fn figures_of(analyte: Analyte, cases: &[Case]) -> Figures {
    let own: Vec<&Case> = cases.iter().filter(|case| case.analyte == analyte).collect();
    let steps: Vec<f64> = own.iter().filter_map(|case| case.error_steps).map(f64::abs).collect();
    let units: Vec<f64> = own.iter().filter_map(|case| case.error).map(f64::abs).collect();
    let held: Vec<f64> =
        own.iter().filter_map(|case| case.held).map(|held| f64::from(u8::from(held))).collect();
    let count = |status: Status| own.iter().filter(|case| case.status == status).count();
    Figures {
        analyte,
        photos: own.len(),
        refused: count(Status::Refused),
        above_range: count(Status::AboveRange),
        median_error_steps: stats::median(&steps).map(rounded),
        p95_error_steps: stats::quantile(&steps, 0.95).map(rounded),
        median_error: stats::median(&units).map(rounded),
        p95_error: stats::quantile(&units, 0.95).map(rounded),
        coverage: stats::mean(&held).map(rounded),
        silent_gross_errors: own.iter().filter(|case| case.is_gross()).count(),
    }
}

/// A line of JSON for each analyte.
///
/// # Errors
/// If they cannot be put into JSON.
pub fn json(cases: &[Case]) -> serde_json::Result<Vec<String>> {
    figures(cases).iter().map(serde_json::to_string).collect()
}

/// The figures for people, each photo listed first if asked for.
pub fn text(cases: &[Case], list: bool) -> String {
    let mut out = String::new();
    if list {
        for case in cases {
            let _ = writeln!(out, "{}", case_text(case));
        }
        out.push('\n');
    }
    for figures in figures(cases) {
        let share = |value: Option<f64>| value.map_or("-".to_owned(), |value| value.to_string());
        let unit = figures.analyte.default_unit();
        let _ = writeln!(
            out,
            "{}: {} photos, {} refused, {} above the chart\n  error     median {} step ({} {unit}), 95 % within {} step ({} {unit})\n  intervals hold the known value in {}\n  silent gross errors (off by more than a step, interval wrong): {}",
            figures.analyte,
            figures.photos,
            figures.refused,
            figures.above_range,
            share(figures.median_error_steps),
            share(figures.median_error),
            share(figures.p95_error_steps),
            share(figures.p95_error),
            figures.coverage.map_or("-".to_owned(), |share| format!("{:.0} %", 100.0 * share)),
            figures.silent_gross_errors
        );
    }
    out
}

fn case_text(case: &Case) -> String {
    let number = |value: Option<f64>| value.map_or("-".to_owned(), |value| value.to_string());
    let mark = match case.held {
        Some(true) => "holds",
        Some(false) => "MISSES",
        None => "",
    };
    let told = match case.status {
        Status::Refused => format!("refused: {}", case.reason.as_deref().unwrap_or_default()),
        Status::AboveRange => format!("above the chart (more than {})", number(case.low)),
        _ => format!(
            "{} [{}, {}] {} step {mark}",
            number(case.value),
            number(case.low),
            number(case.high),
            number(case.error_steps)
        ),
    };
    format!("{}: {} known {}, {told}", case.photo, case.analyte, case.known)
}
