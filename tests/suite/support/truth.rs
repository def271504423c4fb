//! What was true of the simulated histories: rows of `fixtures/cycles/truth.csv`.

use super::cycles;

/// One simulated tank's truth.
pub struct Truth {
    /// The tank's name.
    pub tank: String,
    /// Whether a proof begun now would pass.
    pub ready: bool,
    /// Days until it would, if within 90.
    pub days_to_proof: Option<f64>,
    /// The stage.
    pub stage: String,
}

/// Every row.
pub fn all() -> Vec<Truth> {
    let mut reader = csv::Reader::from_path(cycles::folder().join("truth.csv")).expect("the truth table");
    let rows = reader.records().map(|row| row.expect("a CSV row"));
    rows.map(|row| Truth {
        tank: row[0].to_owned(),
        stage: row[2].to_owned(),
        ready: &row[4] == "true",
        days_to_proof: row[6].parse().ok(),
    })
    .collect()
}
