//! `--swatches`: a provisional chart from printed colours of known level.

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};

use super::{Args, Measured, Shown, found, open};
use crate::chart::Form;
use crate::chart::calibrate::Observation;
use crate::chart::kept::Origin;
use crate::cli::Settings;
use crate::colour::MixedLight;
use crate::pipeline::{self, View};
use crate::sample::{Swatch, find_swatches};
use crate::terms::Analyte;

/// Measures the swatches of every photo given; also says where the picture of the last one is.
pub(super) fn measure(args: &Args, settings: &Settings) -> Result<(Measured, PathBuf)> {
    let analyte = check(args)?;
    let picture = found::file(args, settings);
    let mut measured = Measured::default();
    for path in &args.swatches {
        let name = path.display().to_string();
        match look(path) {
            Ok((view, hash)) => add(&mut measured, (&name, hash, view), (args, analyte), &picture)?,
            Err(refusal) => measured.leave_out(&name, &refusal),
        }
    }
    Ok((measured, picture))
}

/// What is wrong with the options is said before any photo is opened.
fn check(args: &Args) -> Result<Analyte> {
    let Some(analyte) = args.analyte else {
        bail!("--swatches needs --analyte: what the printed scale is for");
    };
    if args.form != Form::Vial {
        bail!("--swatches makes a chart for vials: for a strip photograph dipped strips with --standards");
    }
    if args.levels.windows(2).any(|pair| pair[0] >= pair[1]) || args.levels.iter().any(|l| !l.is_finite()) {
        bail!(
            "--levels must rise from the first to the last; where the scale runs the other way, add --reverse"
        );
    }
    Ok(analyte)
}

fn look(path: &Path) -> Result<(View, String), pipeline::Refusal> {
    let (photo, hash) = open(path)?;
    Ok((pipeline::look(photo)?, hash))
}

fn add(
    measured: &mut Measured,
    (name, hash, view): (&str, String, View),
    (args, analyte): (&Args, Analyte),
    picture: &Path,
) -> Result<()> {
    let mut swatches = find_swatches(&view.photo, &view.card, &view.light, view.card.layout.windows[0]);
    if args.reverse {
        swatches.reverse();
    }
    let areas: Vec<_> = swatches.iter().map(|swatch| swatch.area.to_vec()).collect();
    let caption = caption(&swatches, &args.levels);
    found::draw(&view.photo, &view.card, &areas, &caption, picture)?;
    if swatches.len() != args.levels.len() {
        bail!("{name}: {}", count_trouble(swatches.len(), args.levels.len(), picture));
    }
    warn_if_turned(name, &swatches, analyte);
    // Flat print in the plane of the card: mixed light adds no doubt of its own.
    let mixed = MixedLight { gain: [0.0; 3], ..MixedLight::new(&view.light, None) };
    let Some(photo) = measured.add_photo(name, Shown::new(view, hash), mixed)? else { return Ok(()) };
    let samples = swatches.iter().zip(&args.levels);
    measured.observations.extend(samples.map(|(swatch, &value)| Observation {
        photo,
        analyte,
        value,
        value_uncertainty: 0.0,
        colour: swatch.colour,
        unevenness: pipeline::MOTTLING_SHARE * swatch.spread,
        origin: Origin::Swatch,
    }));
    Ok(())
}

fn caption(swatches: &[Swatch], levels: &[f64]) -> String {
    let pairs: Vec<String> = (0..swatches.len().max(levels.len()))
        .map(|k| {
            let level = levels.get(k).map_or("no level given".to_owned(), f64::to_string);
            let seen = if k < swatches.len() { "" } else { " (not found)" };
            format!("{}: {level}{seen}", k + 1)
        })
        .collect();
    format!("Swatches found and the levels given, in their order. {}", pairs.join(", "))
}

fn count_trouble(found: usize, levels: usize, picture: &Path) -> String {
    let shown = picture.display();
    let mend = match found {
        0 => {
            "lay the printed scale flat into the card's framed window, in one row or column, its print upwards"
        }
        n if n < levels => {
            "swatches that touch and look alike count as one, and one as white as its paper cannot be seen: lay the scale flat and whole into the window, separate such swatches with strips of white paper, or leave a level out of --levels and its swatch out of the window"
        }
        _ => {
            "cover everything in the window that is no swatch of this scale with white paper, or give --levels for all of them"
        }
    };
    format!(
        "{found} swatches were found, but {levels} levels were given; {shown} shows what was found: {mend}"
    )
}

/// The tests of the nitrogen cycle grow darker with their analyte; pH does not.
fn warn_if_turned(name: &str, swatches: &[Swatch], analyte: Analyte) {
    let light = |swatch: Option<&Swatch>| {
        swatch.map_or(0.0, |s| s.colour.iter().map(|c| c.max(1e-4).ln()).sum::<f64>())
    };
    if analyte.is_concentration() && light(swatches.first()) < light(swatches.last()) {
        eprintln!(
            "warning: {name}: the swatch of the lowest level is darker than that of the highest: levels are taken from the left of a row or the top of a column; if the scale runs the other way, make the chart anew with --reverse"
        );
    }
}
