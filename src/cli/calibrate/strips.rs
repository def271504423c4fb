//! Strips: one row for each pad of a photo, in the order of the pads from the dipped end.

use std::path::Path;

use anyhow::{Context, Result, anyhow, bail};
use rayon::prelude::*;

use super::{Measured, Row, Shown, found, observation, open};
use crate::card::CardView;
use crate::card::layout::PointMm;
use crate::chart::calibrate::Observation;
use crate::colour::MixedLight;
use crate::pipeline::{self, MOTTLING_SHARE};
use crate::sample::strip::{Lying, learn, outlines};
use crate::sample::{Pad, PadSample, SampleError, Strip, StripForm};
use crate::terms::Analyte;

/// The rows of one strip in a photo.
struct PhotoRows<'a> {
    name: &'a str,
    path: &'a Path,
    rows: Vec<&'a Row>,
}

/// A strip as its photo shows it.
struct Traced {
    shown: Shown,
    card: CardView,
    lying: Lying,
    mixed: MixedLight,
}

/// Learns the strip's form, unless it was described by hand, and measures every pad; `picture` is where
/// to show the pads found.
pub(super) fn measure(
    rows: &[Row],
    described: Option<&Path>,
    picture: &Path,
) -> Result<(Measured, StripForm)> {
    let photos = by_photo(rows)?;
    let analytes = pad_order(&photos)?;
    let traced: Vec<Result<Traced>> = photos.par_iter().map(|photo| trace(photo.rows[0])).collect();
    let traces: Vec<&Lying> = traced.iter().flatten().map(|traced| &traced.lying).collect();
    let mut measured = Measured::default();
    if traces.is_empty() {
        for (photo, traced) in photos.iter().zip(&traced) {
            if let Err(refusal) = traced {
                measured.leave_out(photo.name, refusal);
            }
        }
        bail!("none of the {} photos can be measured: see the reasons above", photos.len());
    }
    let form = match described {
        Some(file) => described_form(file, &analytes)?,
        None => match learn(&traces, &analytes) {
            Ok(form) => form,
            Err(error) => {
                show_seen(&photos, &traced, picture)?;
                bail!("{error}; {} shows what was found", picture.display());
            }
        },
    };
    show(&photos, &traced, &form, picture)?;
    for (photo, traced) in photos.iter().zip(traced) {
        match traced {
            Ok(traced) => add(&mut measured, photo, traced, &form)?,
            Err(refusal) => measured.leave_out(photo.name, &refusal),
        }
    }
    Ok((measured, form))
}

fn add(measured: &mut Measured, photo: &PhotoRows, traced: Traced, form: &StripForm) -> Result<()> {
    let Traced { shown, lying, mixed, .. } = traced;
    let pads = match Strip::measure(&lying, form) {
        Ok(strip) => strip.pads,
        Err(error) => {
            measured.leave_out(photo.name, &error);
            return Ok(());
        }
    };
    // Strips in several windows share their photo.
    let known = measured.photos.iter().position(|own| own.hash == shown.hash && own.name == photo.name);
    let index = match known {
        Some(index) => Some(index),
        None => measured.add_photo(photo.name, shown, mixed)?,
    };
    let Some(index) = index else { return Ok(()) };
    for ((row, pad), of_form) in photo.rows.iter().zip(pads).zip(&form.pads) {
        let row = in_default_unit(row, of_form);
        match pad {
            Ok(pad) => {
                let unevenness = MOTTLING_SHARE * pad.sample.spread;
                measured.observations.push(observation(index, &row, &pad.sample, unevenness));
            }
            Err(error) => measured.leave_out(&format!("{}, {}", photo.name, row.analyte), &error),
        }
    }
    Ok(())
}

/// A standard's row with its value as charts keep it.
fn in_default_unit(row: &Row, pad: &Pad) -> Row {
    Row { value: pad.to_default_unit(row.value), ..row.clone() }
}

/// Rows of a table that are counted in the units of the strip's pads, as charts keep them.
pub(in crate::cli) fn in_default_units(rows: &mut [Row], form: &StripForm) {
    for row in rows {
        if let Some(pad) = form.pads.iter().find(|pad| pad.analyte == row.analyte) {
            *row = in_default_unit(row, pad);
        }
    }
}

/// Draws the pads on the photo that shows most of them.
fn show(photos: &[PhotoRows], traced: &[Result<Traced>], form: &StripForm, picture: &Path) -> Result<()> {
    let area = |pad: Result<PadSample, SampleError>| pad.map_or(Vec::new(), |pad| pad.sample.area.to_vec());
    let pads = |lying: &Lying| -> Vec<Vec<PointMm>> {
        Strip::measure(lying, form).into_iter().flat_map(|strip| strip.pads).map(area).collect()
    };
    let seen = of_photos(photos, traced).map(|(path, traced)| (path, &traced.card, pads(&traced.lying)));
    // The first of equals, so that the picture stays the same.
    let best = seen.rev().max_by_key(|(.., pads)| pads.iter().filter(|area| !area.is_empty()).count());
    let Some((path, card, areas)) = best else { return Ok(()) };
    let names: Vec<String> =
        form.pads.iter().enumerate().map(|(k, pad)| format!("{}: {}", k + 1, pad.analyte)).collect();
    let caption = format!("Pads from the dipped end, as the table names them. {}", names.join(", "));
    // Opened once more: which photo it is shows only now, and all of them held until then are some MB each.
    found::draw(&open(path)?.0, card, &areas, &caption, picture)
}

/// Draws what looks like pads on the photo that shows most of it, where no form can be learnt.
fn show_seen(photos: &[PhotoRows], traced: &[Result<Traced>], picture: &Path) -> Result<()> {
    let seen = of_photos(photos, traced).map(|(path, traced)| (path, &traced.card, outlines(&traced.lying)));
    let Some((path, card, areas)) = seen.rev().max_by_key(|(.., areas)| areas.len()) else { return Ok(()) };
    let areas: Vec<Vec<PointMm>> = areas.into_iter().map(Vec::from).collect();
    found::draw(&open(path)?.0, card, &areas, "What looks like a pad, from the top of the window.", picture)
}

/// Strips that were traced, with the files of their photos.
fn of_photos<'a>(
    photos: &'a [PhotoRows],
    traced: &'a [Result<Traced>],
) -> impl DoubleEndedIterator<Item = (&'a Path, &'a Traced)> {
    photos.iter().zip(traced).filter_map(|(photo, traced)| Some((photo.path, traced.as_ref().ok()?)))
}

/// A form described by hand: it must be sound, and name the table's analytes.
fn described_form(file: &Path, analytes: &[Analyte]) -> Result<StripForm> {
    let shown = file.display();
    let text = std::fs::read(file).with_context(|| format!("{shown}: cannot read the strip's form"))?;
    let form: StripForm = serde_json::from_slice(&text).with_context(|| {
        format!(
            "{shown}: this is no strip form: write it like {{\"length_mm\": 76, \"width_mm\": 5, \"pads\": [{{\"analyte\": \"nitrate\", \"unit\": \"mg/L NO3\", \"centre_mm\": 5, \"size_mm\": 5}}]}}, pads from the dipped end"
        )
    })?;
    form.check().map_err(|what| anyhow!("{shown}: {what}: measure the strip again and correct the file"))?;
    if !form.pads.iter().map(|pad| pad.analyte).eq(analytes.iter().copied()) {
        bail!(
            "{shown}: its pads are not those of the table: both must name the same analytes, from the dipped end"
        );
    }
    Ok(form)
}

fn by_photo(rows: &[Row]) -> Result<Vec<PhotoRows<'_>>> {
    let mut photos: Vec<PhotoRows> = Vec::new();
    for row in rows {
        match photos.iter_mut().find(|photo| photo.path == row.path && photo.rows[0].window == row.window) {
            Some(photo) => photo.rows.push(row),
            None => photos.push(PhotoRows { name: &row.name, path: &row.path, rows: vec![row] }),
        }
    }
    photos.iter_mut().try_for_each(|photo| sort_by_pad(photo.name, &mut photo.rows, |row| row))?;
    Ok(photos)
}

/// Rows of one photo in the order of their pads.
pub(super) fn in_order(rows: &[Row]) -> Result<Vec<Row>> {
    let mut rows = rows.to_vec();
    let name = rows[0].name.clone();
    sort_by_pad(&name, &mut rows, |row| row)?;
    Ok(rows)
}

/// With a column `pad` rows may stand in any order, and each pad must be named once; without it, their
/// order is that of the pads.
fn sort_by_pad<T>(name: &str, rows: &mut [T], row: impl Fn(&T) -> &Row) -> Result<()> {
    if rows.iter().all(|own| row(own).pad.is_none()) {
        return Ok(());
    }
    rows.sort_by_key(|own| row(own).pad);
    let numbers = || rows.iter().map(|own| row(own).pad);
    if numbers().eq((1..=rows.len()).map(Some)) {
        return Ok(());
    }
    let given: Vec<String> =
        numbers().map(|pad| pad.map_or("none".to_owned(), |pad| pad.to_string())).collect();
    bail!(
        "{name}: line {}: its pads are numbered {}: number every pad once, from 1 at the dipped end",
        row(&rows[0]).line,
        given.join(", ")
    )
}

/// Analytes of the pads from the dipped end: every photo must list the same ones in the same order.
fn pad_order(photos: &[PhotoRows]) -> Result<Vec<Analyte>> {
    let analytes = |photo: &PhotoRows| photo.rows.iter().map(|row| row.analyte).collect::<Vec<_>>();
    let order = analytes(&photos[0]);
    if let Some(other) = photos.iter().find(|photo| analytes(photo) != order) {
        let words = |all: &[Analyte]| all.iter().map(|a| a.word()).collect::<Vec<_>>().join(", ");
        bail!(
            "{}: line {}: pads {}, but {} has {}: list the same pads for every photo, from the dipped end",
            other.name,
            other.rows[0].line,
            words(&analytes(other)),
            photos[0].name,
            words(&order)
        );
    }
    Ok(order)
}

/// Traces the strip in the window that its rows tell of.
fn trace(row: &Row) -> Result<Traced> {
    let (photo, hash) = open(&row.path)?;
    let view = pipeline::look(photo)?;
    let (lying, mixed) = pipeline::strip_in(&view, row.window_on(view.card.layout)?)?;
    let card = view.card.clone();
    Ok(Traced { shown: Shown::new(view, hash), card, lying, mixed })
}

/// A photo of a strip: what it shows, its mixed light, and its pads.
type Look = (Shown, MixedLight, Vec<Observation>);

/// Measures one strip of a known form; a pad that cannot be measured is left out and named.
pub(super) fn look(rows: &[Row], form: &StripForm) -> Result<Look> {
    let named = rows.iter().map(|row| row.analyte);
    if !named.eq(form.pads.iter().map(|pad| pad.analyte)) {
        bail!(
            "its rows are not the pads of the chart's strip: list one row for each pad, from the dipped end"
        );
    }
    let Traced { shown, lying, mixed, .. } = trace(&rows[0])?;
    let mut samples = Vec::new();
    let pads = Strip::measure(&lying, form)?.pads;
    for ((row, pad), of_form) in rows.iter().zip(pads).zip(&form.pads) {
        let row = in_default_unit(row, of_form);
        match pad {
            Ok(pad) => {
                samples.push(observation(0, &row, &pad.sample, MOTTLING_SHARE * pad.sample.spread));
            }
            Err(error) => eprintln!("{}, {}: left out: {error}", row.name, row.analyte),
        }
    }
    if samples.is_empty() {
        bail!("none of its pads can be measured: see the reasons above");
    }
    Ok((shown, mixed, samples))
}
