//! `tank`: a tank's facts.

use anyhow::{Context, Result, anyhow, bail};
use clap::builder::PossibleValuesParser;

use super::{Outcome, Settings, clock, logging, suggest};
use crate::log::{Entry, Loaded, Log, check_name, quantity};
use crate::math::digits;
use crate::terms::text::printable;
use crate::terms::{Analyte, TankFacts};

/// Arguments of `tank`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell tank\n  tintwell tank hallway --volume 110 --water fresh --temperature 25\n  tintwell tank hallway --tap-nitrate 12 --tap-ph 7.6 --tap-alkalinity 4"
)]
pub struct Args {
    /// The tank; without it all tanks are listed
    #[arg(value_name = "NAME")]
    name: Option<String>,

    /// When it was filled, e.g. 2031-02-20
    #[arg(long, value_name = "TIME", requires = "name")]
    started_at: Option<String>,

    /// Nominal volume, litres
    #[arg(long, value_name = "LITRES", requires = "name")]
    volume: Option<String>,

    /// Kind of water
    #[arg(long, value_parser = PossibleValuesParser::new(["fresh", "brackish", "sea"]), requires = "name")]
    water: Option<String>,

    /// Set point of the heater, degrees Celsius
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true, requires = "name")]
    temperature: Option<String>,

    /// Where bacteria came from
    #[arg(long, value_parser = PossibleValuesParser::new(["none", "bottled_bacteria", "mature_medium"]), requires = "name")]
    seeding: Option<String>,

    /// What feeds the bacteria
    #[arg(long, value_parser = PossibleValuesParser::new(["ammonium chloride", "ammonia solution", "fish food", "fish"]), requires = "name")]
    ammonia_source: Option<String>,

    /// How many plants
    #[arg(long, value_parser = PossibleValuesParser::new(["none", "few", "many"]), requires = "name")]
    plants: Option<String>,

    /// Flow through the filter
    #[arg(long, value_parser = PossibleValuesParser::new(["normal", "weak"]), requires = "name")]
    filter_flow: Option<String>,

    /// Whether tap water is treated against chlorine before it is added
    #[arg(long, value_parser = PossibleValuesParser::new(["always", "unknown", "never"]), requires = "name")]
    water_conditioner: Option<String>,

    /// The tap water's nitrate, mg/L NO3
    #[arg(long, value_name = "VALUE", requires = "name")]
    tap_nitrate: Option<String>,

    /// The tap water's ammonia, mg/L NH3
    #[arg(long, value_name = "VALUE", requires = "name")]
    tap_ammonia: Option<String>,

    /// The tap water's pH
    #[arg(long, value_name = "VALUE", requires = "name")]
    tap_ph: Option<String>,

    /// The tap water's alkalinity, meq/L; 5dKH is converted
    #[arg(long, value_name = "VALUE", requires = "name")]
    tap_alkalinity: Option<String>,

    /// What disinfects the tap water
    #[arg(long, value_parser = PossibleValuesParser::new(["none", "chlorine", "chloramine", "unknown"]), requires = "name")]
    tap_disinfectant: Option<String>,

    /// Last level of a colour chart in use, e.g. ammonia=8; may be given several times
    #[arg(long, value_name = "ANALYTE=LEVEL", requires = "name")]
    chart_top: Vec<String>,
}

/// Shows or sets facts.
///
/// # Errors
/// If a fact makes no sense or the log cannot be read or written.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let log = Log::at(&settings.home);
    let loaded = log.load()?;
    logging::say_problems(loaded.problems());
    let Some(name) = &args.name else {
        loaded.tanks().into_iter().try_for_each(|tank| show(&loaded, tank, settings))?;
        return Ok(Outcome::Done);
    };
    check_name(name).map_err(anyhow::Error::msg)?;
    let told = told(args, name)?;
    if told != (TankFacts { tank: name.clone(), ..TankFacts::default() }) {
        let appended = log.append(&[Entry::Tank(told)], clock::now())?;
        logging::say_torn(appended.torn.as_ref());
        show(&log.load()?, name, settings)?;
        return Ok(Outcome::Done);
    }
    if !loaded.tanks().contains(&name.as_str()) {
        let tanks = loaded.tanks();
        let meant = suggest::closest(name, &tanks).map(|name| format!(" did you mean {name:?}?"));
        let meant = meant.unwrap_or_default();
        bail!(
            "there is no tank {name:?} yet:{meant} give a fact of it, such as --volume 110, or log a reading"
        );
    }
    show(&loaded, name, settings)?;
    Ok(Outcome::Done)
}

fn told(args: &Args, name: &str) -> Result<TankFacts> {
    let mut facts = TankFacts { tank: name.to_owned(), ..TankFacts::default() };
    facts.started_at = match &args.started_at {
        Some(text) => Some(clock::at_or_now(Some(text))?),
        None => None,
    };
    facts.volume_l = args.volume.as_deref().map(volume).transpose()?;
    facts.water.clone_from(&args.water);
    facts.temperature_c = measured(args.temperature.as_deref(), Analyte::Temperature)?;
    facts.seeding.clone_from(&args.seeding);
    facts.ammonia_source.clone_from(&args.ammonia_source);
    facts.plants.clone_from(&args.plants);
    facts.filter_flow.clone_from(&args.filter_flow);
    facts.water_conditioner.clone_from(&args.water_conditioner);
    facts.tap.nitrate_mg_l = measured(args.tap_nitrate.as_deref(), Analyte::Nitrate)?;
    facts.tap.ammonia_mg_l = measured(args.tap_ammonia.as_deref(), Analyte::Ammonia)?;
    facts.tap.ph = measured(args.tap_ph.as_deref(), Analyte::Ph)?;
    facts.tap.alkalinity_meq_l = measured(args.tap_alkalinity.as_deref(), Analyte::Alkalinity)?;
    facts.tap.disinfectant.clone_from(&args.tap_disinfectant);
    for text in &args.chart_top {
        let (analyte, typed) = super::add::value(text)?;
        let Some(level) = typed.plain() else {
            bail!("{text:?}: a chart's last level is one plain number, such as {analyte}=8");
        };
        let top = &mut facts.chart_top;
        let place = match analyte {
            Analyte::Ammonia => &mut top.ammonia,
            Analyte::Nitrite => &mut top.nitrite,
            Analyte::Nitrate => &mut top.nitrate,
            Analyte::Ph => &mut top.ph,
            other => bail!("{other} is not read from a colour chart with a last level"),
        };
        *place = Some(level);
    }
    Ok(facts)
}

fn volume(text: &str) -> Result<f64> {
    let bare = text.strip_suffix(['L', 'l']).map(str::trim_end);
    let number = bare.filter(|bare| bare.ends_with(|c: char| c.is_ascii_digit())).unwrap_or(text);
    let litres = quantity::number(number).map_err(|what| {
        anyhow!(
            "{what}: give the volume in litres; a US gallon holds 3.785 of them, an imperial gallon 4.546"
        )
    })?;
    if litres <= 0.0 {
        bail!("a tank of {litres} L holds no water: give its nominal volume in litres");
    }
    if !(5.0..=5_000.0).contains(&litres) {
        eprintln!("warning: a tank of {litres} L is unusual: check the number");
    }
    Ok(litres)
}

fn measured(text: Option<&str>, analyte: Analyte) -> Result<Option<f64>> {
    let Some(text) = text else { return Ok(None) };
    let typed =
        quantity::typed(text, analyte).map_err(anyhow::Error::msg).with_context(|| format!("in {text:?}"))?;
    let Some(value) = typed.plain() else { bail!("{text:?}: a tank's fact is one plain number") };
    logging::warn(quantity::doubt(analyte, value));
    Ok(Some(value))
}

fn show(loaded: &Loaded, tank: &str, settings: &Settings) -> Result<()> {
    let facts = loaded.facts(tank);
    if settings.json {
        println!("{}", serde_json::to_string(&facts)?);
        return Ok(());
    }
    let (mut readings, mut events) = (0, 0);
    for live in loaded.live().filter(|live| live.entry.tank() == Some(tank)) {
        match live.entry {
            Entry::Reading(_) => readings += 1,
            Entry::Event(_) => events += 1,
            _ => {}
        }
    }
    println!("{}: readings {readings}, events {events}", printable(tank));
    let value = serde_json::to_value(&facts)?;
    for (name, fact) in value.as_object().into_iter().flatten().filter(|(name, _)| *name != "tank") {
        show_fact(name, fact);
    }
    Ok(())
}

/// Prints a fact, or each of a group of facts; what is unknown is passed over.
fn show_fact(name: &str, fact: &serde_json::Value) {
    match fact {
        serde_json::Value::Null => {}
        serde_json::Value::Object(group) => {
            for (inner, fact) in group {
                show_fact(&format!("{name}.{inner}"), fact);
            }
        }
        serde_json::Value::String(text) => println!("  {name}: {}", printable(text)),
        serde_json::Value::Number(number) => {
            println!("  {name}: {:?}", digits::rounded(number.as_f64().unwrap_or_default()));
        }
        other => println!("  {name}: {other}"),
    }
}
