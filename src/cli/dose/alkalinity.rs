//! `dose alkalinity`.

use anyhow::Result;

use super::output::Sheet;
use super::{Tank, water_alkalinity};
use crate::cycle::advice::ALKALINITY_CAUTION;
use crate::cycle::alkalinity::{RESERVE_MEQ_L, bicarbonate_g, doses_left};
use crate::log::quantity;
use crate::terms::Analyte;
use crate::terms::unit::{CACO3_MG_PER_MEQ, MEQ_PER_DKH, NH3_PER_N};

/// Arguments of `dose alkalinity`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Rise, meq/L, or with its unit, such as 3dKH or "50 mg/L CaCO3"
    #[arg(long, value_name = "MEQ_L", default_value = "1", value_parser = alkalinity)]
    rise: f64,

    /// Where it stands, likewise, to see how many doses it carries [default: reckoned from the log]
    #[arg(long, value_name = "MEQ_L", value_parser = alkalinity)]
    from: Option<f64>,

    /// Ammonia of each dose, mg/L as NH3
    #[arg(long, value_name = "MG_L", default_value_t = 2.0)]
    dose: f64,
}

/// An alkalinity in meq/L, given in any unit that is read elsewhere.
fn alkalinity(text: &str) -> Result<f64, String> {
    quantity::typed(text, Analyte::Alkalinity)?.plain().ok_or_else(|| {
        format!("{text:?} is no plain number: give one in meq/L, or with its unit, such as 3dKH")
    })
}

/// Reckons the buffer.
pub fn reckon(args: &Args, tank: &Tank) -> Result<Sheet> {
    let volume = tank.volume()?;
    let mut sheet = Sheet::new(format!(
        "To raise the alkalinity by {} meq/L ({:.1} dKH, {:.0} mg/L CaCO3) in {volume} L:",
        args.rise,
        args.rise / MEQ_PER_DKH,
        args.rise * CACO3_MG_PER_MEQ
    ));
    sheet.amount("sodium_bicarbonate_g", bicarbonate_g(args.rise, volume), "g", "of sodium bicarbonate");
    if let Some(from) = args.from.or_else(|| water_alkalinity(tank)) {
        let dose = args.dose / NH3_PER_N;
        sheet.amount("alkalinity_now_meq_l", from, "meq/L", "stand now, by test or by the log");
        sheet.amount(
            "doses_left",
            doses_left(from, dose).floor(),
            "doses",
            format!("of {} mg/L ammonia before it falls to {RESERVE_MEQ_L} meq/L", args.dose),
        );
        sheet.amount("doses_left_after", doses_left(from + args.rise, dose).floor(), "doses", "afterwards");
    }
    sheet.caution(ALKALINITY_CAUTION);
    Ok(sheet)
}
