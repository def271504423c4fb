//! Reads the simulated histories of `fixtures/cycles` and what was true of them.

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use tintwell::cycle::{Deed, TankHistory};
use tintwell::reading::{Measurement, Status};
use tintwell::terms::TankFacts;

/// One simulated tank and its truth.
pub struct Case {
    /// The tank's name.
    pub tank: String,
    /// The log.
    pub history: TankHistory,
    /// When it is judged.
    pub now: DateTime<FixedOffset>,
    /// Whether a proof begun now would pass.
    pub ready: bool,
    /// Days until it would, if within 90.
    pub days_to_proof: Option<f64>,
    /// The stage.
    pub stage: String,
}

/// The folder of simulated histories, or the one that `TINTWELL_CYCLES` names.
pub fn folder() -> PathBuf {
    std::env::var_os("TINTWELL_CYCLES")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles"), PathBuf::from)
}

/// Every case of `folder`, in the order of its `truth.csv`.
pub fn cases(folder: &Path) -> Vec<Case> {
    let rows = rows(&folder.join("truth.csv"));
    rows.iter().map(|row| case(folder, row)).collect()
}

fn rows(path: &Path) -> Vec<csv::StringRecord> {
    csv::Reader::from_path(path).expect("a CSV file").records().map(|row| row.expect("a CSV row")).collect()
}

fn time(text: &str) -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339(text.trim()).expect("an RFC 3339 time")
}

fn case(folder: &Path, truth: &csv::StringRecord) -> Case {
    let tank = folder.join(&truth[0]);
    let facts = std::fs::read_to_string(tank.join("tank.json")).expect("the tank's facts");
    let facts: TankFacts = serde_json::from_str(&facts).expect("facts in JSON");
    Case {
        tank: truth[0].to_owned(),
        history: TankHistory {
            facts,
            measurements: rows(&tank.join("readings.csv")).iter().map(measurement).collect(),
            deeds: rows(&tank.join("events.csv")).iter().map(deed).collect(),
        },
        now: time(&truth[1]),
        stage: truth[2].to_owned(),
        ready: &truth[4] == "true",
        days_to_proof: truth[6].parse().ok(),
    }
}

fn measurement(row: &csv::StringRecord) -> Measurement {
    let past_the_chart = row[6].is_empty();
    Measurement {
        analyte: row[2].parse().expect("an analyte"),
        status: if past_the_chart { Status::AboveRange } else { Status::Read },
        value: row[3].parse().ok().filter(|_| !past_the_chart),
        low: row[5].parse().ok(),
        high: row[6].parse().ok(),
        taken_at: time(&row[0]),
        flags: Vec::new(),
    }
}

fn deed(row: &csv::StringRecord) -> Deed {
    Deed {
        kind: row[2].parse().expect("a kind of event"),
        amount: row[3].parse().ok(),
        at: time(&row[0]),
        note: row[5].to_owned(),
    }
}
