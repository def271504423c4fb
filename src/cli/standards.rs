//! `standards`: how to mix standard solutions, and standard addition.

use std::fs::File;
use std::io::Write;

use anyhow::{Context, bail};

use super::{Outcome, Settings};
use crate::report::standards as report;
use crate::standards::addition;
use crate::standards::buffer::{self, BufferRequest};
use crate::standards::{Balance, Request, Salt, StandardsError, Ware, mix};
use crate::terms::text::shown;
use crate::terms::{Analyte, Unit};

mod args;

pub use args::Args;

/// Prints the recipe, or evaluates a standard addition.
pub fn run(args: &Args, settings: &Settings) -> anyhow::Result<Outcome> {
    let (json, text) = match args.analyte {
        Analyte::Ph => buffers(args)?,
        _ if !args.evaluate.is_empty() => evaluated(args)?,
        _ => recipe(args)?,
    };
    if settings.json {
        println!("{json}");
    } else {
        print!("{text}");
    }
    Ok(Outcome::Done)
}

fn recipe(args: &Args) -> anyhow::Result<(serde_json::Value, String)> {
    let request = request(args)?;
    let recipe = mix(&request)?;
    if let Some(sample) = args.addition {
        let portions = recipe.levels.iter().filter_map(|level| level.portion);
        let most = portions.map(|portion| portion.measure.volume_ml).fold(0.0, f64::max);
        if sample + most > args.volume() {
            bail!(
                "{sample} mL of sample and {most:.1} mL of standard do not fit into {} mL: take less sample or give a stronger --stock",
                args.volume()
            );
        }
    }
    let levels = recipe.levels.iter().map(|level| (level.made, level.uncertainty.unwrap_or(0.0)));
    write_table(args, &report::calibration_table(request.analyte, request.unit, levels))?;
    let json = report::recipe_json(&request, &recipe, args.addition);
    Ok((json, report::recipe_text(&request, &recipe, args.addition)))
}

fn request(args: &Args) -> anyhow::Result<Request> {
    let analyte = args.analyte;
    let salt = args.salt.or_else(|| Salt::default_of(analyte)).ok_or(StandardsError::NoSalt(analyte))?;
    let levels = match (args.expected, args.addition) {
        (Some(expected), Some(_)) => addition::rises(expected, sample_share(args)?),
        (None, Some(_)) if args.levels.is_empty() => {
            bail!("a standard addition needs --expected VALUE or the rises as --levels")
        }
        _ if args.levels.is_empty() => usual_levels(analyte),
        _ => args.levels.clone(),
    };
    Ok(Request {
        analyte,
        salt,
        water: args.water,
        purity: args.purity / 100.0,
        purity_tolerance: args.purity_tolerance / 100.0,
        unit: args.unit.unwrap_or(analyte.default_unit()),
        levels,
        level_ml: args.volume(),
        stock_ml: args.stock_volume,
        stock: args.stock,
        ware: ware(args),
    })
}

fn ware(args: &Args) -> Ware {
    Ware {
        balance: Balance { step_g: args.scale_step },
        syringes: args.syringe.clone(),
        flask_tolerance: args.flask_tolerance / 100.0,
    }
}

/// Levels of common kits, in default units.
fn usual_levels(analyte: Analyte) -> Vec<f64> {
    match analyte {
        Analyte::Ammonia => vec![0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0],
        Analyte::Nitrite => vec![0.0, 0.25, 0.5, 1.0, 2.0, 3.5, 5.0],
        Analyte::Nitrate => vec![0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0],
        Analyte::Ph => vec![6.0, 6.4, 6.6, 6.8, 7.0, 7.2, 7.6],
        Analyte::Alkalinity => vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
        Analyte::Temperature => vec![],
    }
}

fn buffers(args: &Args) -> anyhow::Result<(serde_json::Value, String)> {
    if args.addition.is_some() {
        bail!("there is no standard addition of pH: leave --addition out");
    }
    let levels = if args.levels.is_empty() { usual_levels(Analyte::Ph) } else { args.levels.clone() };
    let request = BufferRequest {
        levels,
        level_ml: args.volume(),
        stock_ml: args.stock_volume,
        temperature_c: args.temperature,
        water: args.water,
        purity_tolerance: args.purity_tolerance / 100.0,
        ware: ware(args),
    };
    let recipe = buffer::mix(&request)?;
    let levels = recipe.buffers.iter().map(|buffer| (buffer.made, buffer.uncertainty));
    write_table(args, &report::calibration_table(Analyte::Ph, Unit::Ph, levels))?;
    Ok((report::buffers_json(&request, &recipe), report::buffers_text(&request, &recipe)))
}

/// Writes the table for `calibrate` if it was asked for; what stands in the way may be hours of typing.
fn write_table(args: &Args, text: &str) -> anyhow::Result<()> {
    let Some(path) = &args.table else { return Ok(()) };
    let mut file = File::create_new(path)
        .with_context(|| format!("cannot write {}: name a new file in an existing folder", path.display()))?;
    file.write_all(text.as_bytes()).with_context(|| format!("cannot write {}", path.display()))?;
    eprintln!("wrote {}: put in the names of your photos, then give it to calibrate", shown(path));
    Ok(())
}

fn evaluated(args: &Args) -> anyhow::Result<(serde_json::Value, String)> {
    let unit = args.unit.unwrap_or(args.analyte.default_unit());
    let (rises, readings): (Vec<f64>, Vec<f64>) = args.evaluate.iter().copied().unzip();
    let found = addition::evaluate(&rises, &readings, sample_share(args)?)?;
    Ok((report::addition_json(unit, &found), report::addition_text(unit, &found)))
}

fn sample_share(args: &Args) -> anyhow::Result<f64> {
    let sample = args.addition.context("--addition ML says how much of each flask is the tank's water")?;
    Ok(sample / args.volume())
}
