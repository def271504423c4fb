//! The picture of the swatches or pads that `calibrate` found.

use std::path::{Path, PathBuf};

use anyhow::Result;

use super::Args;
use crate::card::CardView;
use crate::card::layout::PointMm;
use crate::cli::{Settings, pictures};
use crate::photo::Photo;
use crate::report::{found, picture::Scaled};

/// Where it goes: as asked, or beside the chart.
pub(super) fn file(args: &Args, settings: &Settings) -> PathBuf {
    args.found.clone().unwrap_or_else(|| {
        let chart = args.file(settings);
        let stem = chart.file_stem().unwrap_or_default().to_string_lossy();
        chart.with_file_name(format!("{stem}-found.png"))
    })
}

/// Draws areas of the card's plane on their photo, numbered.
pub(super) fn draw(
    photo: &Photo,
    card: &CardView,
    areas: &[Vec<PointMm>],
    caption: &str,
    file: &Path,
) -> Result<()> {
    let on_photo = |points: &[PointMm]| -> Vec<(f64, f64)> {
        points.iter().map(|p| card.to_photo.apply((p.x, p.y))).collect()
    };
    let areas: Vec<Vec<(f64, f64)>> = areas.iter().map(|area| on_photo(area)).collect();
    let outline = on_photo(&card.layout.outline().corners());
    if let Some(folder) = file.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder)?;
    }
    pictures::save(&found::draw(&Scaled::new(photo.to_srgb()), &outline, &areas, caption), file)
}
