//! `dose ammonia`.

use anyhow::{Result, ensure};

use super::output::Sheet;
use super::{Tank, has_animals};
use crate::cycle::advice::AMMONIA_CAUTION;
use crate::cycle::alkalinity::MEQ_PER_MG_N;
use crate::cycle::dosing::{ammonium_chloride_g, aqueous_ammonia_ml, chloramine_ammonia_mg_l, food_g};
use crate::cycle::oxygen::{demand_mg_l, saturations_used};
use crate::terms::unit::{NH3_PER_N, NH4_PER_N};

/// Arguments of `dose ammonia`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Rise of total ammonia, mg/L as NH3 (ppm)
    #[arg(long, value_name = "MG_L", default_value_t = 2.0, allow_negative_numbers = true)]
    rise: f64,

    /// Strength of the ammonia solution, per cent NH3 by mass
    #[arg(long, value_name = "PERCENT", default_value_t = 10.0)]
    strength: f64,

    /// Density of the ammonia solution, g/mL, if the label gives it
    #[arg(long, value_name = "G_ML")]
    density: Option<f64>,

    /// Protein of the food, per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 45.0)]
    protein: f64,

    /// Chloramine in the tap water, mg/L as chlorine, to see the ammonia that it brings
    #[arg(long, value_name = "MG_L")]
    chloramine: Option<f64>,
}

/// Reckons the amounts.
///
/// # Errors
/// If the numbers make no sense, the volume is unknown, or animals live in the tank.
pub fn reckon(args: &Args, tank: &Tank) -> Result<Sheet> {
    ensure!(
        !has_animals(tank),
        "by its log animals live in this tank: ammonia would harm or kill them. If they are no longer there, log it with `tintwell event --tank NAME fish_added=-NUMBER`"
    );
    let volume = tank.volume()?;
    let as_n = args.rise / NH3_PER_N;
    let mut sheet = Sheet::new(format!(
        "To raise ammonia by {} mg/L NH3 ({:.2} as N, {:.2} as NH4) in {volume} L:",
        args.rise,
        as_n,
        as_n * NH4_PER_N
    ));
    sheet.amount(
        "ammonium_chloride_g",
        ammonium_chloride_g(args.rise, volume)?,
        "g",
        "of ammonium chloride, or",
    );
    let solution = aqueous_ammonia_ml(args.rise, volume, args.strength, args.density)?;
    sheet.amount(
        "ammonia_solution_ml",
        solution,
        "mL",
        format!("of ammonia solution of {} % by mass, without scent or soap, or", args.strength),
    );
    sheet.amount(
        "food_g",
        food_g(args.rise, args.protein, volume)?,
        "g",
        format!("of food with {} % protein, over about a week (rough)", args.protein),
    );
    sheet.note(format!(
        "the true water volume is often 5 to 15 % less than the nominal: the rise is then as much higher; test an hour later and log what you dosed with `tintwell event --tank NAME ammonia_dose={}`",
        args.rise
    ));
    sheet.note(format!(
        "oxidising it takes {:.1} mg/L of oxygen ({:.1} times what the water holds at 25 °C: move the surface) and {:.2} meq/L of alkalinity",
        demand_mg_l(as_n),
        saturations_used(as_n, tank.facts.temperature_c.unwrap_or(25.0), 0.0),
        as_n * MEQ_PER_MG_N
    ));
    if let Some(chloramine) = args.chloramine {
        sheet.amount(
            "chloramine_ammonia_mg_l",
            chloramine_ammonia_mg_l(chloramine),
            "mg/L",
            "ammonia (NH3) set free when the tap water's chloramine is neutralised",
        );
    }
    sheet.caution(AMMONIA_CAUTION);
    Ok(sheet)
}
