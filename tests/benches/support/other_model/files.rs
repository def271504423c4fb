//! Histories as folders of plain tables, of the form of the simulated ones in `fixtures/cycles`.

use std::fs;
use std::io;
use std::path::Path;

use chrono::Duration;
use tintwell::terms::Analyte;

use super::course::Judged;

/// Writes `histories` below `folder`, with what was true of them; what this model does not tell stays empty.
pub fn write(folder: &Path, histories: &[Judged]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let mut truths = csv::Writer::from_path(folder.join("truth.csv"))?;
    truths.write_record([
        "tank",
        "now",
        "stage",
        "stage_alt",
        "proof_true_now",
        "proof_day",
        "days_to_proof",
        "log_fault",
        "proof_residual",
        "proof_oxidised_share",
        "fish_in",
    ])?;
    for judged in histories {
        let tank = &judged.history.facts.tank;
        write_history(&folder.join(tank), judged)?;
        let day = judged.days.map(|days| judged.now + Duration::minutes((days * 1440.0) as i64));
        truths.write_record([
            tank.clone(),
            judged.now.to_rfc3339(),
            judged.stage.to_owned(),
            String::new(),
            judged.proof.passes().to_string(),
            day.map(|day| day.date_naive().to_string()).unwrap_or_default(),
            judged.days.map(|days| format!("{days:.2}")).unwrap_or_default(),
            judged.fault.to_owned(),
            format!("{:.2}", judged.proof.residual),
            format!("{:.2}", judged.proof.share),
            judged.fish.to_string(),
        ])?;
    }
    truths.flush()
}

fn write_history(folder: &Path, judged: &Judged) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let facts = &judged.history.facts;
    fs::write(folder.join("tank.json"), serde_json::to_string_pretty(facts)?)?;
    fs::write(folder.join("now.txt"), judged.now.to_rfc3339())?;
    let mut readings = csv::Writer::from_path(folder.join("readings.csv"))?;
    readings.write_record(["taken_at", "tank", "analyte", "value", "unit", "low", "high", "note"])?;
    for reading in &judged.history.measurements {
        let top = match reading.analyte {
            Analyte::Ammonia => facts.chart_top.ammonia,
            Analyte::Nitrite => facts.chart_top.nitrite,
            _ => facts.chart_top.nitrate,
        };
        let number = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
        readings.write_record([
            reading.taken_at.to_rfc3339(),
            facts.tank.clone(),
            reading.analyte.to_string(),
            number(reading.value.or(top)),
            unit(reading.analyte).to_owned(),
            number(reading.low),
            number(reading.high),
            String::new(),
        ])?;
    }
    readings.flush()?;
    let mut events = csv::Writer::from_path(folder.join("events.csv"))?;
    events.write_record(["at", "tank", "event", "amount", "unit", "note"])?;
    for deed in &judged.history.deeds {
        events.write_record([
            deed.at.to_rfc3339(),
            facts.tank.clone(),
            deed.kind.to_string(),
            deed.amount.map(|amount| amount.to_string()).unwrap_or_default(),
            deed.kind.unit().to_owned(),
            deed.note.clone(),
        ])?;
    }
    events.flush()
}

const fn unit(analyte: Analyte) -> &'static str {
    match analyte {
        Analyte::Ammonia => "mg/L NH3",
        Analyte::Nitrite => "mg/L NO2",
        Analyte::Nitrate => "mg/L NO3",
        Analyte::Ph => "pH",
        _ => "degC",
    }
}
