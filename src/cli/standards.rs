//! `standards`: how to mix standard solutions, and standard addition.

use std::fs::File;
use std::io::Write;
use std::path::PathBuf;
use std::str::FromStr;

use anyhow::{Context, bail};

use super::{Outcome, Settings};
use crate::report::standards as report;
use crate::standards::addition;
use crate::standards::buffer::{self, BufferRequest};
use crate::standards::{Balance, Request, SALTS, Salt, StandardsError, Syringe, Ware, mix};
use crate::terms::{Analyte, Unit};

/// Arguments of `standards`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// ammonia, nitrite, nitrate, alkalinity or ph
    analyte: Analyte,

    /// Levels, the blank as 0 [default: those of common kits]
    #[arg(long, value_delimiter = ',')]
    levels: Vec<f64>,

    /// Unit of the levels, such as NH3, NH4, N, NO2, NO3, meq/L, dKH [default: the analyte's]
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,

    /// Salt to weigh, such as ammonium-sulfate [default: the usual one]
    #[arg(long, value_parser = salt, value_name = "SALT")]
    salt: Option<&'static Salt>,

    /// Molecules of water of crystallisation in the salt (for ph: in the disodium phosphate)
    #[arg(long, default_value_t = 0.0, value_name = "N")]
    water: f64,

    /// Purity of the salt, percent
    #[arg(long, default_value_t = 99.0, value_name = "PERCENT")]
    purity: f64,

    /// Limit of the purity's error, percent
    #[arg(long, default_value_t = 1.0, value_name = "PERCENT")]
    purity_tolerance: f64,

    /// Volume of each level, mL [default: 100; for ph 40]
    #[arg(long, value_name = "ML")]
    volume: Option<f64>,

    /// Volume of the stock, mL
    #[arg(long, default_value_t = 500.0, value_name = "ML")]
    stock_volume: f64,

    /// Concentration of the stock in the unit of the levels [default: chosen]
    #[arg(long, value_name = "VALUE")]
    stock: Option<f64>,

    /// Smallest step of the scale, g
    #[arg(long, default_value_t = 0.01, value_name = "G")]
    scale_step: f64,

    /// Syringe as CAPACITY:GRADUATION[:TOLERANCE], mL, mL and percent; may be repeated
    #[arg(long, default_values = ["1:0.01", "10:0.2"], value_parser = syringe, value_name = "SPEC")]
    syringe: Vec<Syringe>,

    /// Limit of the flasks' error, percent
    #[arg(long, default_value_t = 1.0, value_name = "PERCENT")]
    flask_tolerance: f64,

    /// Temperature at which buffers are used, degrees Celsius
    #[arg(long, default_value_t = 25.0, value_name = "C")]
    temperature: f64,

    /// Also write a table to fill in with photos and give to `calibrate`; an existing file is left alone
    #[arg(long, value_name = "FILE", conflicts_with = "addition")]
    table: Option<PathBuf>,

    /// Standard addition: mL of the tank's own water in each flask of --volume
    #[arg(long, value_name = "ML")]
    addition: Option<f64>,

    /// What the tank's water holds about, to plan a standard addition
    #[arg(long, requires = "addition", value_name = "VALUE", conflicts_with = "levels")]
    expected: Option<f64>,

    /// Evaluate a standard addition: RISE=READING of each flask, the first 0=READING
    #[arg(long, requires = "addition", value_delimiter = ',', value_parser = pair, value_name = "PAIRS")]
    evaluate: Vec<(f64, f64)>,
}

impl Args {
    /// Volume of each level, mL; buffers are mixed of nothing but the two stocks, so they are made smaller.
    fn volume(&self) -> f64 {
        self.volume.unwrap_or(if self.analyte == Analyte::Ph { 40.0 } else { 100.0 })
    }
}

/// Tolerance of a syringe that is given without one, percent: ISO 7886-1 allows 4 to 5 % of the volume
/// over half of the capacity (from memory, not verified).
const SYRINGE_TOLERANCE_PERCENT: f64 = 5.0;

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
    eprintln!("wrote {}: put in the names of your photos, then give it to calibrate", path.display());
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

fn unit(text: &str) -> Result<Unit, String> {
    Unit::from_str(text).or_else(|error| format!("mg/L {text}").parse().map_err(|_| error.to_string()))
}

fn salt(text: &str) -> Result<&'static Salt, String> {
    let known = || SALTS.iter().map(|salt| salt.word).collect::<Vec<_>>().join(", ");
    Salt::with_word(text).ok_or_else(|| format!("no such salt: use one of {}", known()))
}

fn syringe(text: &str) -> Result<Syringe, String> {
    let numbers: Result<Vec<f64>, _> = text.split(':').map(str::parse).collect();
    match numbers.as_deref() {
        Ok([capacity_ml, graduation_ml, rest @ ..])
            if rest.len() <= 1
                && *graduation_ml > 0.0
                && capacity_ml >= graduation_ml
                && capacity_ml.is_finite() =>
        {
            let tolerance = rest.first().copied().unwrap_or(SYRINGE_TOLERANCE_PERCENT) / 100.0;
            if !(0.0..=0.5).contains(&tolerance) {
                return Err("the tolerance must be 0 to 50 percent".into());
            }
            Ok(Syringe { capacity_ml: *capacity_ml, graduation_ml: *graduation_ml, tolerance })
        }
        _ => Err("write it as CAPACITY:GRADUATION in mL, such as 1:0.01".into()),
    }
}

fn pair(text: &str) -> Result<(f64, f64), String> {
    let wrong = || "write RISE=READING, such as 0=8.1".to_owned();
    let (rise, reading) = text.split_once('=').ok_or_else(wrong)?;
    Ok((rise.trim().parse().map_err(|_| wrong())?, reading.trim().parse().map_err(|_| wrong())?))
}
