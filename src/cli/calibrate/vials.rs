//! Vials: one analyte, one row a photo.

use std::path::Path;

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::{Measured, Row, observation};
use crate::colour::MixedLight;
use crate::log::content_hash;
use crate::photo;
use crate::pipeline::{self, Refusal, View};
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
    let seen: Vec<Result<_, Refusal>> = rows.par_iter().map(|row| look(&row.path)).collect();
    let mut measured = Measured::default();
    for (row, seen) in rows.iter().zip(seen) {
        match seen {
            Ok(seen) => {
                if let Some(photo) = measured.add_photo(&row.name, seen.view, seen.hash, seen.mixed)? {
                    measured.observations.push(observation(photo, row, &seen.sample, 0.0));
                }
            }
            Err(refusal) => measured.leave_out(&row.name, &refusal),
        }
    }
    Ok(measured)
}

/// A vial seen before the card.
pub(super) struct Seen {
    pub(super) view: View,
    pub(super) hash: String,
    pub(super) sample: Sample,
    pub(super) mixed: MixedLight,
}

/// Measures the vial on one photo.
pub(super) fn look(path: &Path) -> Result<Seen, Refusal> {
    let bytes = photo::read_file(path)?;
    let (view, hash) = (pipeline::look(pipeline::open(&bytes)?)?, content_hash(&bytes));
    let (sample, mixed) = pipeline::vial_in(&view, view.card.layout.windows[0])?;
    Ok(Seen { view, hash, sample, mixed })
}
