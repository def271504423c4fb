//! `dose water`.

use anyhow::{Context, Result};

use super::Tank;
use super::output::Sheet;
use crate::cycle::advice::change_caution;
use crate::cycle::dosing::{repeated_changes, single_change, weekly_change_to_hold};
use crate::terms::Analyte;

/// Arguments of `dose water`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What is to be brought down
    #[arg(long, value_name = "ANALYTE", default_value = "nitrate")]
    analyte: Analyte,

    /// Where it stands, mg/L [default: the tank's latest reading]
    #[arg(long, value_name = "MG_L")]
    from: Option<f64>,

    /// Where to bring it, mg/L
    #[arg(long, value_name = "MG_L")]
    to: f64,

    /// In the tap water, mg/L [default: the tank's, or 0]
    #[arg(long, value_name = "MG_L")]
    tap: Option<f64>,

    /// Size of each change if one is too large, per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 30.0)]
    each: f64,

    /// Rise in a week, mg/L, to see the weekly change that holds the target
    #[arg(long, value_name = "MG_L")]
    weekly_rise: Option<f64>,
}

/// Reckons the changes.
pub fn reckon(args: &Args, tank: &Tank) -> Result<Sheet> {
    let tap = args.tap.or_else(|| tap(args.analyte, tank)).unwrap_or(0.0);
    let from = args
        .from
        .or_else(|| latest(args.analyte, tank))
        .context("give --from, or --tank with a reading of it")?;
    let share = single_change(from, tap, args.to)?;
    let mut sheet = Sheet::new(format!(
        "To bring {} from {from} to {} mg/L with tap water of {tap} mg/L:",
        args.analyte, args.to
    ));
    sheet.amount("single_change_percent", 100.0 * share, "%", "of the water at once, or");
    if let Some(volume) = tank.volume_l {
        sheet.amount("single_change_l", share * volume, "L", "which is as much, or");
    }
    let times = repeated_changes(from, tap, args.to, args.each / 100.0)?;
    sheet.amount("repeated_changes", times.ceil(), "times", format!("{} %", args.each));
    if let Some(rise) = args.weekly_rise {
        sheet.amount(
            "weekly_change_percent",
            100.0 * weekly_change_to_hold(rise, tap, args.to)?,
            "%",
            format!("each week holds it there against a rise of {rise} mg/L a week"),
        );
    }
    sheet.note("with animals in the tank change no more than half at once, unless they are in acute danger");
    sheet.caution(change_caution(&tank.facts));
    Ok(sheet)
}

fn tap(analyte: Analyte, tank: &Tank) -> Option<f64> {
    match analyte {
        Analyte::Ammonia => tank.facts.tap.ammonia_mg_l,
        Analyte::Nitrate => tank.facts.tap.nitrate_mg_l,
        _ => None,
    }
}

fn latest(analyte: Analyte, tank: &Tank) -> Option<f64> {
    let readings = &tank.history.as_ref()?.measurements;
    readings.iter().rev().find(|reading| reading.analyte == analyte)?.value
}
