//! Vials: one analyte, one row a photo.

use std::path::Path;

use anyhow::{Result, bail};
use rayon::prelude::*;

use super::{Measured, Row, observation};
use crate::colour::MixedLight;
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
            Ok((view, sample, mixed)) => {
                let photo = measured.add_photo(&row.name, view, mixed)?;
                measured.observations.push(observation(photo, row, &sample, 0.0));
            }
            Err(refusal) => measured.leave_out(&row.name, &refusal),
        }
    }
    Ok(measured)
}

fn look(path: &Path) -> Result<(View, Sample, MixedLight), Refusal> {
    let view = pipeline::look(photo::open(path)?)?;
    let (sample, mixed) = pipeline::vial_in(&view, view.card.layout.windows[0])?;
    Ok((view, sample, mixed))
}
