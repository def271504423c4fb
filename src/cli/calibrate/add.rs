//! `--add`: a chart improved with standards, one photo at a time.

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};

use super::{Args, Row, Shown, chart_at_hand, observation, standards_table, strips, vials};
use crate::chart::add::add;
use crate::chart::calibrate::{Observation, Photo};
use crate::chart::history::Revision;
use crate::chart::{Chart, Form};
use crate::cli::{Outcome, Settings, clock};
use crate::report;
use crate::terms::text::shown;

/// Adds every photo named and says what each gained.
pub(super) fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    let (path, mut chart) = chart_at_hand(args, settings)?;
    chart.expires = args.leaflet.expiry(chart.expires);
    chart.leaflet = args.leaflet.applied_to(&chart.leaflet)?;
    let photos = photos(args, &chart)?;
    let (mut added, mut refused) = (0, 0);
    for rows in &photos {
        match measure(rows, &chart)
            .and_then(|(photo, samples)| Ok(add(&chart, photo, samples, clock::now())?))
        {
            Ok(improved) => {
                improved.save(&path)?;
                chart = improved;
                added += 1;
                say(settings, &chart, rows)?;
            }
            Err(error) => {
                eprintln!("{}: not added: {error:#}", rows[0].name);
                refused += 1;
            }
        }
    }
    if added > 0 {
        args.draw(&chart)?;
        if !settings.json {
            println!("Written to   {}", shown(&path));
        }
    }
    Ok(match (added, refused) {
        (0, _) => Outcome::Nothing,
        (_, 0) => Outcome::Done,
        _ => Outcome::Partly,
    })
}

fn say(settings: &Settings, chart: &Chart, rows: &[Row]) -> Result<()> {
    let Some(revision): Option<&Revision> = chart.history.last() else { return Ok(()) };
    if settings.json {
        println!("{}", report::chart_gain::json(chart, revision)?);
    } else {
        let values: Vec<String> = rows.iter().map(|row| format!("{} {}", row.analyte, row.value)).collect();
        print!("{}", report::chart_gain::text(chart, revision, &values.join(", ")));
    }
    Ok(())
}

/// The photos to add in the order given, each with its rows.
fn photos(args: &Args, chart: &Chart) -> Result<Vec<Vec<Row>>> {
    let mut photos: Vec<Vec<Row>> = Vec::new();
    for text in &args.add {
        let rows = match text.rsplit_once('=') {
            Some((photo, value)) => vec![typed(photo, value, args, chart)?],
            None => standards_table::read(Path::new(text), args.analyte)?,
        };
        for row in rows {
            match photos.iter_mut().find(|rows| rows[0].path == row.path) {
                Some(rows) => rows.push(row),
                None => photos.push(vec![row]),
            }
        }
    }
    let tells_windows = |rows: &Vec<Row>| rows.len() == 1 || rows.iter().all(|row| row.window.is_some());
    if chart.form == Form::Vial && !photos.iter().all(tells_windows) {
        bail!(
            "a photo of a vial is given with two values: give each photo once, or for several vials before a card of several windows a table with a column window"
        );
    }
    Ok(photos)
}

fn typed(photo: &str, value: &str, args: &Args, chart: &Chart) -> Result<Row> {
    if chart.form == Form::Strip {
        bail!(
            "a strip's photo holds several values: give a table with --add FILE.csv, a row for each pad from the dipped end"
        );
    }
    let Some(number) = value.trim().parse::<f64>().ok().filter(|value| value.is_finite() && *value >= 0.0)
    else {
        bail!("--add {photo}={value}: {value:?} is not a number of 0 or more: write it like vial.jpg=0.5");
    };
    let path = PathBuf::from(photo);
    if !path.is_file() {
        bail!("there is no file {photo}: correct the name; it comes before the = and the value");
    }
    let analyte = args.analyte.unwrap_or(chart.scales[0].analyte);
    Ok(Row {
        line: 0,
        name: photo.to_owned(),
        path,
        analyte,
        value: number,
        uncertainty: 0.0,
        pad: None,
        window: None,
    })
}

/// One photo's samples.
fn measure(rows: &[Row], chart: &Chart) -> Result<(Photo, Vec<Observation>)> {
    let name = rows[0].name.clone();
    let (shown, mixed, samples) = match &chart.strip {
        None => {
            let seen = vials::look(rows)?;
            let mixed = seen.mixed();
            let vials = seen.vials.into_iter().collect::<Result<Vec<_>, _>>()?;
            let samples = rows.iter().zip(&vials).map(|(row, (sample, _))| observation(0, row, sample, 0.0));
            let mixed = mixed.unwrap_or_else(|| vials[0].1);
            (seen.shown, mixed, samples.collect())
        }
        Some(form) => strips::look(&strips::in_order(rows)?, form)?,
    };
    let Shown { card_version: version, patches, hash } = shown;
    if version != chart.card_version {
        bail!(
            "it shows version {version} of the card, the chart was made with version {}: use the chart's card",
            chart.card_version
        );
    }
    Ok((Photo { name, hash, patches, mixed }, samples))
}
