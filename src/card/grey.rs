//! Grey in linear light, whole and reduced.
//!
//! Blur happens in linear light: on gamma-coded grey the half-way level of an edge lies inside the
//! black, and every square shrinks. So edges are sought in linear light only.

use std::sync::LazyLock;

use image::RgbImage;
use palette::encoding::{IntoLinear, Srgb};
use rayon::prelude::*;

use crate::math::stats;

/// sRGB decoding (IEC 61966-2-1) of every 8-bit value.
pub static SRGB_TO_LINEAR: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| Srgb::into_linear(code as u8)));

/// Relative luminance of an 8-bit sRGB pixel, 0 to 1, linear (weights of IEC 61966-2-1).
#[inline]
pub fn luminance(pixel: &[u8]) -> f32 {
    let table = &*SRGB_TO_LINEAR;
    0.2126 * table[pixel[0] as usize] + 0.7152 * table[pixel[1] as usize] + 0.0722 * table[pixel[2] as usize]
}

/// A picture of linear luminance, reduced by a whole factor against the photo.
#[derive(Debug, Clone)]
pub struct GreyImage {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Photo pixels along one side of a grey pixel.
    pub factor: usize,
    /// Luminance, row by row, 0 to 1.
    pub values: Vec<f32>,
}

impl GreyImage {
    /// Averages blocks of `factor` by `factor` pixels in linear light; a rest at the right and the
    /// bottom that fills no block is left out.
    pub fn reduced(photo: &RgbImage, factor: usize) -> Self {
        let stride = photo.width() as usize * 3;
        let width = photo.width() as usize / factor;
        let height = photo.height() as usize / factor;
        let raw = photo.as_raw();
        let mut values = vec![0.0_f32; width * height];
        let weight = 1.0 / (factor * factor) as f32;
        values.par_chunks_mut(width.max(1)).enumerate().for_each(|(row, line)| {
            for inner in 0..factor {
                let start = (row * factor + inner) * stride;
                let source = &raw[start..start + width * factor * 3];
                for (value, block) in line.iter_mut().zip(source.chunks_exact(factor * 3)) {
                    *value += block.chunks_exact(3).map(luminance).sum::<f32>() * weight;
                }
            }
        });
        Self { width, height, factor, values }
    }

    /// Value at whole coordinates, which must lie inside.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.values[y * self.width + x]
    }

    /// Bilinear value; `None` outside.
    #[inline]
    pub fn sample(&self, x: f64, y: f64) -> Option<f64> {
        let (x0, y0) = (x.floor(), y.floor());
        if !(x0 >= 0.0 && y0 >= 0.0 && x0 + 1.0 < self.width as f64 && y0 + 1.0 < self.height as f64) {
            return None;
        }
        let (fx, fy) = (x - x0, y - y0);
        let (column, row) = (x0 as usize, y0 as usize);
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
        let shift = (self.factor as f64 - 1.0) / 2.0;
        (x * self.factor as f64 + shift, y * self.factor as f64 + shift)
    }
}

/// Bilinear linear-light luminance of the photo at full resolution; `None` outside.
pub fn sample_luminance(photo: &RgbImage, x: f64, y: f64) -> Option<f64> {
    let (x0, y0) = (x.floor(), y.floor());
    let inside =
        x0 >= 0.0 && y0 >= 0.0 && x0 + 1.0 < f64::from(photo.width()) && y0 + 1.0 < f64::from(photo.height());
    if !inside {
        return None;
    }
    let (fx, fy) = (x - x0, y - y0);
    let (column, row) = (x0 as u32, y0 as u32);
    let value = |dx, dy| f64::from(luminance(&photo.get_pixel(column + dx, row + dy).0));
    let top = value(0, 0) * (1.0 - fx) + value(1, 0) * fx;
    let bottom = value(0, 1) * (1.0 - fx) + value(1, 1) * fx;
    Some(top * (1.0 - fy) + bottom * fy)
}
