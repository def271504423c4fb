//! Slips: giving them a meaning, listing and forgetting it.

use anyhow::bail;
use serde_json::json;

use super::Args;
use crate::card::layout::SLIP_IDS;
use crate::card::print::{NamedSlip, PrintError};
use crate::cli::slips::{Meaning, Slips};
use crate::cli::{Outcome, Settings, charts};
use crate::log::{Log, check_name};
use crate::terms::text::printable;

/// The slips to print, with the names of what they stand for; a meaning that is given is remembered.
pub(super) fn named(args: &Args, settings: &Settings) -> anyhow::Result<Vec<NamedSlip>> {
    if let Some(meaning) = meaning(args, settings)? {
        let id = args.slip[0];
        if args.slip.iter().any(|&other| other != id) {
            bail!("{} slips cannot all stand for {meaning}: give one id at a time", args.slip.len());
        }
        if !SLIP_IDS.contains(&id) {
            return Err(PrintError::NotASlip(id).into());
        }
        Slips::remember(&settings.home, id, &meaning)?;
        eprintln!("slip {id} stands for {meaning} from now on");
    }
    let known = Slips::load(&settings.home)?;
    let name = |id: u16| match known.meaning(id)? {
        Meaning::Tank(name) | Meaning::Chart(name) => Some(name.clone()),
    };
    Ok(args.slip.iter().map(|&id| NamedSlip { id, name: name(id) }).collect())
}

/// The meaning that the options give.
fn meaning(args: &Args, settings: &Settings) -> anyhow::Result<Option<Meaning>> {
    if let Some(name) = &args.tank {
        check_name(name).map_err(anyhow::Error::msg)?;
        if !Log::at(&settings.home).load()?.tanks().contains(&name.as_str()) {
            eprintln!("note: nothing has been logged of a tank {name:?} so far");
        }
        return Ok(Some(Meaning::Tank(name.clone())));
    }
    let Some(name) = &args.chart else { return Ok(None) };
    if let Err(why) = charts::check_name(name) {
        bail!("{why}; a slip stands for a chart by its name, not by its file");
    }
    charts::find(settings, name)?;
    Ok(Some(Meaning::Chart(name.clone())))
}

/// Lists what slips stand for.
pub(super) fn list(settings: &Settings) -> anyhow::Result<Outcome> {
    let known = Slips::load(&settings.home)?;
    for (id, meaning) in known.iter() {
        let (tank, chart) = match meaning {
            Meaning::Tank(name) => (Some(name), None),
            Meaning::Chart(name) => (None, Some(name)),
        };
        if settings.json {
            println!("{}", json!({"slip": id, "tank": tank, "chart": chart}));
            continue;
        }
        let trouble = chart.and_then(|name| charts::find(settings, name).err());
        let trouble = trouble.map(|error| format!(", which cannot be used: {error}")).unwrap_or_default();
        println!("slip {id}: {meaning}{}", printable(&trouble));
    }
    if known.iter().next().is_none() {
        eprintln!("no slip stands for anything yet: tell one with `tintwell card --slip 101 --tank NAME`");
    }
    Ok(Outcome::Done)
}

/// Forgets what a slip stands for.
pub(super) fn forget(id: u16, settings: &Settings) -> anyhow::Result<Outcome> {
    Slips::forget(&settings.home, id)?;
    eprintln!("slip {id} stands for nothing from now on");
    Ok(Outcome::Done)
}
