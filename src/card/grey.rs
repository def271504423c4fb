//! Grey in linear light, whole and reduced.
//!
//! Blur happens in linear light: on gamma-coded grey the half-way level of an edge lies inside the
//! black, and every square shrinks. So edges are sought in linear light only.

use std::sync::LazyLock;

use palette::encoding::{IntoLinear, Srgb};
use rayon::prelude::*;

use crate::math::stats;
use crate::photo::{Preview, Upright};

/// sRGB decoding (IEC 61966-2-1) of every 8-bit value.
pub static SRGB_TO_LINEAR: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| Srgb::into_linear(code as u8)));

/// Relative luminance of an 8-bit sRGB pixel, 0 to 1, linear (weights of IEC 61966-2-1).
#[inline]
pub fn luminance(pixel: &[u8]) -> f32 {
    let table = &*SRGB_TO_LINEAR;
    0.2126 * table[pixel[0] as usize] + 0.7152 * table[pixel[1] as usize] + 0.0722 * table[pixel[2] as usize]
}

/// A picture in linear light, reduced by a whole factor against the photo. It shows the green channel
/// or the brightness alone: tags are black on white, and green carries most of the luminance with the least noise.
#[derive(Debug, Clone)]
pub struct GreyImage {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Photo pixels along one side of a grey pixel.
    pub factor: usize,
    /// Light, row by row, 0 to 1.
    pub values: Vec<f32>,
    /// Photo pixels from the photo's first pixel to the middle of the first grey pixel.
    offset: (f64, f64),
}

/// Position of green in a pixel.
const GREEN: usize = 1;
/// In larger blocks every second pixel each way is enough.
const DENSE_FACTOR: usize = 3;

impl GreyImage {
    /// Averages blocks of `factor` by `factor` pixels in linear light; a rest that fills no block is
    /// left out.
    pub fn reduced(photo: &Upright, factor: usize) -> Self {
        let picture = photo.stored();
        let line = picture.width() as usize * 3;
        let (width, height) = (picture.width() as usize / factor, picture.height() as usize / factor);
        let (first, step) = if factor <= DENSE_FACTOR { (0, 1) } else { ((factor - 1) % 2, 2) };
        let within = || (first..factor).step_by(step);
        let weight = 1.0 / within().count().pow(2) as f32;
        let linear: [f32; 256] = SRGB_TO_LINEAR.map(|value| weight * value);
        let raw = picture.as_raw();
        let mut stored = vec![0.0_f32; width * height];
        stored.par_chunks_mut(width.max(1)).enumerate().for_each(|(row, grey)| {
            for inner in within() {
                let source = &raw[(row * factor + inner) * line..][..width * factor * 3];
                for (value, block) in grey.iter_mut().zip(source.chunks_exact(factor * 3)) {
                    let mut at = first * 3 + GREEN;
                    while at < block.len() {
                        *value += linear[usize::from(block[at])];
                        at += step * 3;
                    }
                }
            }
        });
        let middle = (first as f64 + ((factor - 1 - first) / step * step + first) as f64) / 2.0;
        // Whichever way the picture is turned, its first grey pixel is that of a stored corner.
        let centre = |k: usize| (k * factor) as f64 + middle;
        let corners = [(0, 0), (width.saturating_sub(1), height.saturating_sub(1))]
            .map(|(column, row)| photo.place((centre(column), centre(row))));
        let offset = (corners[0].0.min(corners[1].0), corners[0].1.min(corners[1].1));
        let (width, height, values) = photo.turn(width, height, stored);
        Self { width, height, factor, values, offset }
    }

    /// The brightness of a photo's preview.
    pub fn of_preview(preview: &Preview) -> Self {
        let linear = &*SRGB_TO_LINEAR;
        Self {
            width: preview.width,
            height: preview.height,
            factor: Preview::FACTOR,
            values: preview.values.iter().map(|&value| linear[usize::from(value)]).collect(),
            offset: preview.first,
        }
    }

    /// Value at whole coordinates, which must lie inside.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.values[y * self.width + x]
    }

    /// Bilinear value; `None` outside.
    #[inline]
    pub fn sample(&self, x: f64, y: f64) -> Option<f64> {
        let (column, row) = cell(x, y, (self.width, self.height))?;
        let (fx, fy) = (x - column as f64, y - row as f64);
        let top = f64::from(self.at(column, row)) * (1.0 - fx) + f64::from(self.at(column + 1, row)) * fx;
        let bottom =
            f64::from(self.at(column, row + 1)) * (1.0 - fx) + f64::from(self.at(column + 1, row + 1)) * fx;
        Some(top * (1.0 - fy) + bottom * fy)
    }

    /// Quantile of the luminance, every seventh pixel looked at; `None` for an empty picture.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let values: Vec<f64> = self.values.iter().step_by(7).map(|&value| f64::from(value)).collect();
        stats::quantile(&values, p)
    }

    /// Coordinates in the photo (pixel centres at whole numbers) of a point of this picture.
    pub fn to_photo(&self, x: f64, y: f64) -> (f64, f64) {
        (x * self.factor as f64 + self.offset.0, y * self.factor as f64 + self.offset.1)
    }
}

/// Column and row of the pixel to the upper left of a place, if it and its neighbours lie inside.
#[inline]
fn cell(x: f64, y: f64, (width, height): (usize, usize)) -> Option<(usize, usize)> {
    // Casting towards zero is rounding down from here on, and much cheaper.
    if !(x >= 0.0 && y >= 0.0) {
        return None;
    }
    let (column, row) = (x as usize, y as usize);
    (column < width.saturating_sub(1) && row < height.saturating_sub(1)).then_some((column, row))
}

/// Bilinear linear-light luminance of the photo at full resolution; `None` outside.
pub fn sample_luminance(photo: &Upright, x: f64, y: f64) -> Option<f64> {
    let (width, height) = photo.dimensions();
    let (column, row) = cell(x, y, (width as usize, height as usize))?;
    let (fx, fy) = (x - column as f64, y - row as f64);
    let value = |dx, dy| Some(f64::from(luminance(&photo.get(column as u32 + dx, row as u32 + dy)?)));
    let top = value(0, 0)? * (1.0 - fx) + value(1, 0)? * fx;
    let bottom = value(0, 1)? * (1.0 - fx) + value(1, 1)? * fx;
    Some(top * (1.0 - fy) + bottom * fy)
}
