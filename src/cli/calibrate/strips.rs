//! Strips: one row for each pad of a photo, in the order of the pads from the dipped end.

use std::path::Path;

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::{Measured, Row, observation};
use crate::colour::MixedLight;
use crate::photo;
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

type Traced = (View, Lying, MixedLight);

/// Learns the strip's form and measures every pad.
pub(super) fn measure(rows: &[Row]) -> Result<(Measured, StripForm)> {
    let photos = by_photo(rows);
    let analytes = pad_order(&photos)?;
    let traced: Vec<Result<Traced, Refusal>> = photos.par_iter().map(|photo| trace(photo.path)).collect();
    let traces: Vec<&Lying> = traced.iter().flatten().map(|(_, lying, _)| lying).collect();
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
    (view, lying, mixed): Traced,
    form: &StripForm,
) -> Result<()> {
    let pads = match measure_pads(&lying, form) {
        Ok(pads) => pads,
        Err(error) => {
            measured.leave_out(photo.name, &error);
            return Ok(());
        }
    };
    let index = measured.add_photo(photo.name, view, mixed)?;
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
    let view = pipeline::look(photo::open(path)?)?;
    let (lying, mixed) = pipeline::strip_in(&view, view.card.layout.windows[0])?;
    Ok((view, lying, mixed))
}
