//! Vials: one analyte, one row a vial.

use std::borrow::Borrow;
use std::path::Path;

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::{Measured, Row, Shown, observation};
use crate::cli::standards_table::WindowError;
use crate::colour::MixedLight;
use crate::log::content_hash;
use crate::photo;
use crate::pipeline::{self, Refusal};
use crate::sample::Sample;

/// Measures the vial of every row.
pub(super) fn measure(table: &Path, rows: &[Row]) -> Result<Measured> {
    if let Some(other) = rows.iter().find(|row| row.analyte != rows[0].analyte) {
        bail!(
            "{}: line {}: {} beside {}: a vial's chart holds one analyte, choose it with --analyte",
            table.display(),
            other.line,
            other.analyte,
            rows[0].analyte
        );
    }
    let photos = by_photo(rows);
    let seen: Vec<Result<Seen, Refusal>> = photos.par_iter().map(|rows| look(rows)).collect();
    let mut measured = Measured::default();
    for (rows, seen) in photos.iter().zip(seen) {
        match seen {
            Ok(seen) => take(&mut measured, rows, seen)?,
            Err(refusal) => rows.iter().for_each(|row| measured.leave_out(&row.name, &refusal)),
        }
    }
    Ok(measured)
}

/// The rows of each photo, in the order in which the photos are first named.
fn by_photo(rows: &[Row]) -> Vec<Vec<&Row>> {
    let mut photos: Vec<Vec<&Row>> = Vec::new();
    for row in rows {
        match photos.iter_mut().find(|rows| rows[0].path == row.path) {
            Some(rows) => rows.push(row),
            None => photos.push(vec![row]),
        }
    }
    photos
}

/// Takes a photo's vials in, and says which could not be measured.
fn take(measured: &mut Measured, rows: &[&Row], seen: Seen) -> Result<()> {
    for (row, refusal) in
        rows.iter().zip(&seen.vials).filter_map(|(row, vial)| Some((row, vial.as_ref().err()?)))
    {
        measured.leave_out(&row.name, refusal);
    }
    let Some(mixed) = seen.mixed() else { return Ok(()) };
    let Some(photo) = measured.add_photo(&rows[0].name, seen.shown, mixed)? else { return Ok(()) };
    let samples = rows.iter().zip(&seen.vials).filter_map(|(row, vial)| Some((row, vial.as_ref().ok()?)));
    measured.observations.extend(samples.map(|(row, (sample, _))| observation(photo, row, sample, 0.0)));
    Ok(())
}

/// Why a row's vial cannot be measured.
#[derive(Debug, thiserror::Error)]
pub(super) enum VialError {
    /// Its window.
    #[error(transparent)]
    Window(#[from] WindowError),
    /// What stands there.
    #[error(transparent)]
    Sample(#[from] Refusal),
}

/// The vials seen before the card in one photo.
pub(super) struct Seen {
    pub(super) shown: Shown,
    /// Of each row.
    pub(super) vials: Vec<Result<(Sample, MixedLight), VialError>>,
}

impl Seen {
    /// The strongest mixed light at any of the vials; `None` if none was measured.
    pub(super) fn mixed(&self) -> Option<MixedLight> {
        let strength = |mixed: &MixedLight| mixed.gain.iter().map(|gain| gain * gain).sum::<f64>();
        let measured = self.vials.iter().flatten().map(|(_, mixed)| mixed);
        measured.max_by(|a, b| strength(a).total_cmp(&strength(b))).copied()
    }
}

/// Measures the vials on one photo that its rows tell of.
pub(super) fn look(rows: &[impl Borrow<Row>]) -> Result<Seen, Refusal> {
    let bytes = photo::read_file(&rows[0].borrow().path)?;
    let (view, hash) = (pipeline::look(pipeline::open(&bytes)?)?, content_hash(&bytes));
    let vial = |row: &Row| Ok(pipeline::vial_in(&view, row.window_on(view.card.layout)?)?);
    let vials = rows.iter().map(|row| vial(row.borrow())).collect();
    Ok(Seen { shown: Shown::new(view, hash), vials })
}
