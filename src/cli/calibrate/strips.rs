//! Strips: one row for each pad of a photo, in the order of the pads from the dipped end.

use std::path::Path;

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::{Measured, Row, observation, open};
use crate::chart::calibrate::Observation;
use crate::colour::MixedLight;
use crate::pipeline::{self, MOTTLING_SHARE, Refusal, View};
use crate::sample::StripForm;
use crate::sample::strip::{Lying, learn, measure_pads};
use crate::terms::Analyte;

/// The rows of one photo.
struct PhotoRows<'a> {
    name: &'a str,
    path: &'a Path,
    rows: Vec<&'a Row>,
}

type Traced = (View, String, Lying, MixedLight);

/// Learns the strip's form and measures every pad.
pub(super) fn measure(rows: &[Row]) -> Result<(Measured, StripForm)> {
    let photos = by_photo(rows);
    let analytes = pad_order(&photos)?;
    let traced: Vec<Result<Traced, Refusal>> = photos.par_iter().map(|photo| trace(photo.path)).collect();
    let traces: Vec<&Lying> = traced.iter().flatten().map(|(_, _, lying, _)| lying).collect();
    let mut measured = Measured::default();
    if traces.is_empty() {
        for (photo, traced) in photos.iter().zip(&traced) {
            if let Err(refusal) = traced {
                measured.leave_out(photo.name, refusal);
            }
        }
        bail!("none of the {} photos can be measured: see the reasons above", photos.len());
    }
    let form = learn(&traces, &analytes)?;
    for (photo, traced) in photos.iter().zip(traced) {
        match traced {
            Ok(traced) => add(&mut measured, photo, traced, &form)?,
            Err(refusal) => measured.leave_out(photo.name, &refusal),
        }
    }
    Ok((measured, form))
}

fn add(
    measured: &mut Measured,
    photo: &PhotoRows,
    (view, hash, lying, mixed): Traced,
    form: &StripForm,
) -> Result<()> {
    let pads = match measure_pads(&lying, form) {
        Ok(pads) => pads,
        Err(error) => {
            measured.leave_out(photo.name, &error);
            return Ok(());
        }
    };
    let Some(index) = measured.add_photo(photo.name, view, hash, mixed)? else { return Ok(()) };
    for (row, pad) in photo.rows.iter().zip(pads) {
        match pad {
            Ok(pad) => {
                let unevenness = MOTTLING_SHARE * pad.sample.spread;
                measured.observations.push(observation(index, row, &pad.sample, unevenness));
            }
            Err(error) => measured.leave_out(&format!("{}, {}", photo.name, row.analyte), &error),
        }
    }
    Ok(())
}

fn by_photo(rows: &[Row]) -> Vec<PhotoRows<'_>> {
    let mut photos: Vec<PhotoRows> = Vec::new();
    for row in rows {
        match photos.iter_mut().find(|photo| photo.path == row.path) {
            Some(photo) => photo.rows.push(row),
            None => photos.push(PhotoRows { name: &row.name, path: &row.path, rows: vec![row] }),
        }
    }
    photos
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

fn trace(path: &Path) -> Result<Traced, Refusal> {
    let (photo, hash) = open(path)?;
    let view = pipeline::look(photo)?;
    let (lying, mixed) = pipeline::strip_in(&view, view.card.layout.windows[0])?;
    Ok((view, hash, lying, mixed))
}

/// A photo of a strip: what it shows, its hash, its mixed light, and its pads.
type Look = (View, String, MixedLight, Vec<Observation>);

/// Measures one strip of a known form; a pad that cannot be measured is left out and named.
pub(super) fn look(rows: &[Row], form: &StripForm) -> Result<Look> {
    let named = rows.iter().map(|row| row.analyte);
    if !named.eq(form.pads.iter().map(|pad| pad.analyte)) {
        bail!(
            "its rows are not the pads of the chart's strip: list one row for each pad, from the dipped end"
        );
    }
    let (view, hash, lying, mixed) = trace(&rows[0].path)?;
    let mut samples = Vec::new();
    for (row, pad) in rows.iter().zip(measure_pads(&lying, form)?) {
        match pad {
            Ok(pad) => {
                samples.push(observation(0, row, &pad.sample, MOTTLING_SHARE * pad.sample.spread));
            }
            Err(error) => eprintln!("{}, {}: left out: {error}", row.name, row.analyte),
        }
    }
    if samples.is_empty() {
        bail!("none of its pads can be measured: see the reasons above");
    }
    Ok((view, hash, mixed, samples))
}
