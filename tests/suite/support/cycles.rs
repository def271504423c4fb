//! Simulated tank histories of `fixtures/cycles` and what was true of them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use tintwell::cycle::{Deed, TankHistory};
use tintwell::reading::{Measurement, Status};
use tintwell::terms::TankFacts;

/// Folder of the simulated histories; `TINTWELL_HISTORIES` names another of the same form.
pub fn folder() -> PathBuf {
    let ours = || Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles");
    std::env::var_os("TINTWELL_HISTORIES").map_or_else(ours, PathBuf::from)
}

/// One simulated history, and the moment to judge it at.
pub fn simulated(tank: &str) -> (TankHistory, DateTime<FixedOffset>) {
    let text = |name: &str| std::fs::read_to_string(folder().join(tank).join(name)).unwrap();
    let facts: TankFacts = serde_json::from_str(&text("tank.json")).unwrap();
    let rows = |name: &str| -> Vec<csv::StringRecord> {
        csv::Reader::from_reader(text(name).as_bytes()).records().map(Result::unwrap).collect()
    };
    let time = |text: &str| DateTime::parse_from_rfc3339(text.trim()).unwrap();
    let number = |text: &str| text.parse::<f64>().ok();
    let measurements = rows("readings.csv")
        .iter()
        .map(|row| Measurement {
            analyte: row[2].parse().unwrap(),
            status: if row[6].is_empty() { Status::AboveRange } else { Status::Read },
            value: number(&row[3]).filter(|_| !row[6].is_empty()),
            low: number(&row[5]),
            high: number(&row[6]),
            taken_at: time(&row[0]),
            flags: Vec::new(),
        })
        .collect();
    let deeds = rows("events.csv")
        .iter()
        .map(|row| Deed {
            kind: row[2].parse().unwrap(),
            amount: number(&row[3]),
            at: time(&row[0]),
            note: row[5].to_owned(),
            is_supposed: false,
        })
        .collect();
    (TankHistory { facts, measurements, deeds }, time(&text("now.txt")))
}

/// What was true of each simulated history, by column name.
pub fn truths() -> Vec<BTreeMap<String, String>> {
    let mut table = csv::Reader::from_path(folder().join("truth.csv")).unwrap();
    table.deserialize().map(Result::unwrap).collect()
}
