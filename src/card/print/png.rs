//! A sheet as PNG at a number of dots to the inch, which the file records.
//!
//! Every pixel is the exact mean, in linear light, of what covers its square.

use std::ops::RangeInclusive;

use super::scene::{Item, Rgb};
use super::sheet::{MM_PER_INCH, Sheet};
use crate::card::layout::{PointMm, RectMm};

/// Resolutions that can be asked for: below, tags lose their shape; above, printers gain nothing.
pub const DPI_RANGE: RangeInclusive<u32> = 100..=1200;

/// Most pixels of a picture, as many as a photo may have.
const MAX_PIXELS: f64 = 64e6;

/// Why no PNG can be made.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// A resolution that makes no sense.
    #[error("{0} dpi is out of range: use {first} to {last}", first = DPI_RANGE.start(), last = DPI_RANGE.end())]
    Resolution(u32),
    /// Too many pixels.
    #[error(
        "{dpi} dpi on this paper would be {megapixels:.0} megapixels: use a lower --dpi, or --format pdf"
    )]
    TooLarge {
        /// Asked resolution.
        dpi: u32,
        /// What it would come to.
        megapixels: f64,
    },
    /// The encoder failed.
    #[error("the PNG could not be encoded ({0})")]
    Encoding(#[from] png::EncodingError),
}

impl Sheet {
    /// The sheet as the bytes of a PNG file.
    ///
    /// # Errors
    /// The resolution is out of range or the picture too large.
    pub fn to_png(&self, dpi: u32) -> Result<Vec<u8>, PngError> {
        let canvas = self.rasterise(dpi)?;
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, canvas.width as u32, canvas.height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        let per_metre = (f64::from(dpi) * 1000.0 / MM_PER_INCH).round() as u32;
        let unit = png::Unit::Meter;
        encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: per_metre, yppu: per_metre, unit }));
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&canvas.rgb)?;
        writer.finish()?;
        Ok(bytes)
    }

    fn rasterise(&self, dpi: u32) -> Result<Canvas, PngError> {
        if !DPI_RANGE.contains(&dpi) {
            return Err(PngError::Resolution(dpi));
        }
        let per_mm = f64::from(dpi) / MM_PER_INCH;
        let (width, height) = ((self.width_mm * per_mm).round(), (self.height_mm * per_mm).round());
        if width * height > MAX_PIXELS {
            return Err(PngError::TooLarge { dpi, megapixels: width * height / 1e6 });
        }
        let mut canvas = Canvas::blank(width as usize, height as usize, per_mm);
        for item in &self.items {
            match item {
                Item::Fill { rects, rgb } => canvas.fill(rects, *rgb),
                Item::Stroke { lines, width, rgb } => canvas.stroke(lines, *width, *rgb),
            }
        }
        Ok(canvas)
    }
}

struct Canvas {
    width: usize,
    height: usize,
    per_mm: f64,
    rgb: Vec<u8>,
}

impl Canvas {
    fn blank(width: usize, height: usize, per_mm: f64) -> Self {
        Self { width, height, per_mm, rgb: vec![255; 3 * width * height] }
    }

    /// Rectangles that share no area: what they cover of a pixel adds up.
    fn fill(&mut self, rects: &[RectMm], rgb: Rgb) {
        let Some(bounds) = rects.iter().copied().reduce(around) else { return };
        let per_mm = self.per_mm;
        self.paint(bounds, rgb, |x, y| {
            let along = |low: f64, high: f64, at: f64| {
                ((high * per_mm).min(at + 1.0) - (low * per_mm).max(at)).max(0.0)
            };
            rects.iter().map(|r| along(r.x0, r.x1, x) * along(r.y0, r.y1, y)).sum()
        });
    }

    /// Lines with round ends, their edges softened over one pixel.
    fn stroke(&mut self, lines: &[Vec<PointMm>], width: f64, rgb: Rgb) {
        let (per_mm, half) = (self.per_mm, width / 2.0);
        for line in lines {
            for pair in line.windows(2) {
                let (a, b) = (pair[0], pair[1]);
                let bounds = around(RectMm::new(a.x, a.y, a.x, a.y), RectMm::new(b.x, b.y, b.x, b.y));
                self.paint(bounds.grown(half + 1.0 / per_mm), rgb, |x, y| {
                    let middle = PointMm { x: (x + 0.5) / per_mm, y: (y + 0.5) / per_mm };
                    ((half - distance_to_segment(middle, a, b)) * per_mm + 0.5).clamp(0.0, 1.0)
                });
            }
        }
    }

    /// Mixes a colour into the pixels within bounds, by the covered share of each.
    fn paint(&mut self, bounds: RectMm, rgb: Rgb, covered: impl Fn(f64, f64) -> f64) {
        let pixels = |low: f64, high: f64, most: usize| {
            let clamp = |at: f64| at.clamp(0.0, most as f64) as usize;
            clamp((low * self.per_mm).floor())..clamp((high * self.per_mm).ceil())
        };
        let (columns, rows) =
            (pixels(bounds.x0, bounds.x1, self.width), pixels(bounds.y0, bounds.y1, self.height));
        for y in rows {
            for x in columns.clone() {
                let share = covered(x as f64, y as f64).min(1.0);
                let start = 3 * (y * self.width + x);
                mix(&mut self.rgb[start..start + 3], rgb, share);
            }
        }
    }
}

/// Mixes a share of a colour into a pixel, in linear light.
fn mix(pixel: &mut [u8], rgb: Rgb, share: f64) {
    if share <= 0.0 {
        return;
    }
    if share >= 1.0 - 1e-9 {
        pixel.copy_from_slice(&rgb);
        return;
    }
    for (under, over) in pixel.iter_mut().zip(rgb) {
        *under = encode(decode(*under) * (1.0 - share) + decode(over) * share);
    }
}

/// 8-bit sRGB to linear light (IEC 61966-2-1).
fn decode(value: u8) -> f64 {
    palette::Srgb::<u8>::new(value, value, value).into_linear::<f64>().red
}

/// Linear light to 8-bit sRGB.
fn encode(linear: f64) -> u8 {
    palette::Srgb::<u8>::from_linear(palette::LinSrgb::<f64>::new(linear, linear, linear)).red
}

fn around(a: RectMm, b: RectMm) -> RectMm {
    RectMm::new(a.x0.min(b.x0), a.y0.min(b.y0), a.x1.max(b.x1), a.y1.max(b.y1))
}

fn distance_to_segment(p: PointMm, a: PointMm, b: PointMm) -> f64 {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let length2 = dx * dx + dy * dy;
    let along = if length2 > 0.0 { ((p.x - a.x) * dx + (p.y - a.y) * dy) / length2 } else { 0.0 };
    let t = along.clamp(0.0, 1.0);
    (p.x - a.x - t * dx).hypot(p.y - a.y - t * dy)
}
