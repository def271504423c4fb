//! Renders a photo of a card with vials before it or strips on it, from the crate's own layout: a flat print under a
//! coloured light that falls off, seen a little from the side, with seeded noise; each vial a glass
//! cylinder of a coloured liquid, without refraction, shadow or lens. Every such picture is rendered.

use std::path::Path;

use image::{Rgb, RgbImage};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use tintwell::card::layout::{Layout, PAPER_OUTLINE_MM, PatchKind, TAG_MODULE_MM, WINDOW_OUTLINE_MM};
use tintwell::card::tag36h11;

use super::light::code;

/// Samples of a pixel each way.
const FINE: u32 = 2;
/// Pixels a millimetre in the picture's middle.
const SCALE: f64 = 4.6;
/// Desk seen beside the card, mm.
const MARGIN_MM: f64 = 14.0;
/// Noise of a pixel, codes, standard deviation.
const NOISE: f64 = 1.5;

/// A vial: its axis on the card, its diameter, and the absorbance of its liquid along the diameter.
#[derive(Debug, Clone, Copy)]
pub struct Vial {
    /// Place of its axis, mm.
    pub x: f64,
    /// Outside diameter, mm.
    pub width: f64,
    /// Decadic absorbance of red, green and blue.
    pub absorbance: [f64; 3],
}

/// A dip strip in a window, pads of 5.0 mm, one each 6.6 mm: its middle line, its dipped end, and the light
/// that each pad sends back.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Place of its middle line, mm.
    pub x: f64,
    /// Place of its dipped end, which points upwards, mm.
    pub tip: f64,
    /// Its pads from the dipped end.
    pub pads: Vec<[f64; 3]>,
}

impl Strip {
    /// Light at a point of the card's plane; `None` beside the strip.
    fn reflected(&self, x: f64, y: f64) -> Option<[f64; 3]> {
        let (along, across) = (y - self.tip, x - self.x);
        if across.abs() > 2.7 || !(0.0..=76.0).contains(&along) {
            return None;
        }
        let pad = ((along - 2.5) / 6.6).floor();
        let is_pad = along - 2.5 - 6.6 * pad < 5.0 && across.abs() < 2.5;
        let bare = [0.80, 0.81, 0.80];
        Some(if is_pad && pad >= 0.0 { self.pads.get(pad as usize).copied().unwrap_or(bare) } else { bare })
    }
}

/// A photo to render.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The card.
    pub layout: &'static Layout,
    /// What stands before it.
    pub vials: Vec<Vial>,
    /// What lies on it.
    pub strips: Vec<Strip>,
    /// Light on the card's middle in red, green and blue; 1 is white to the camera.
    pub light: [f64; 3],
    /// Seed of noise and of the camera's place.
    pub seed: u64,
}

impl Scene {
    /// The photo, upright.
    pub fn render(&self) -> RgbImage {
        let mut random = Pcg64::seed_from_u64(self.seed);
        let (w, h) = (self.layout.width_mm, self.layout.height_mm);
        let size = |mm: f64| ((mm + 2.0 * MARGIN_MM) * SCALE) as u32;
        let slant: [f64; 2] = std::array::from_fn(|_| 0.12 * (random.random::<f64>() - 0.5));
        let turn = 0.06 * (random.random::<f64>() - 0.5);
        let to_card = |px: f64, py: f64| {
            let (x, y) = (px / SCALE - MARGIN_MM - w / 2.0, py / SCALE - MARGIN_MM - h / 2.0);
            let depth = 1.0 + slant[0] * x / w + slant[1] * y / h;
            ((x + turn * y) / depth + w / 2.0, (y - turn * x) / depth + h / 2.0)
        };
        RgbImage::from_fn(size(w), size(h), |px, py| {
            let mut sum = [0.0; 3];
            for k in 0..FINE * FINE {
                let part = |k: u32| (f64::from(k) + 0.5) / f64::from(FINE);
                let (x, y) = to_card(f64::from(px) + part(k % FINE), f64::from(py) + part(k / FINE));
                let own = self.reflected(x, y);
                let fall_off = 1.0 - 0.12 * x / w - 0.06 * y / h;
                (0..3).for_each(|c| sum[c] += own[c] * self.light[c] * fall_off / f64::from(FINE * FINE));
            }
            // A sum of twelve is close to normal.
            let mut noise = || NOISE * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0);
            Rgb(sum.map(|light| (code(light) + noise()).round().clamp(0.0, 255.0) as u8))
        })
    }

    /// Writes the photo as PNG.
    pub fn save(&self, file: &Path) {
        self.render().save(file).unwrap();
    }

    /// Light sent back from a point of the card's plane, vials before it.
    fn reflected(&self, x: f64, y: f64) -> [f64; 3] {
        let laid = self.strips.iter().find_map(|strip| strip.reflected(x, y));
        let behind = laid.unwrap_or_else(|| self.printed(x, y));
        let top = self.layout.windows[0].y1 - 52.0;
        let (rim, surface, base) = (top, top + 14.0, self.layout.height_mm - 2.5);
        let Some(vial) = self.vials.iter().find(|vial| (x - vial.x).abs() < vial.width / 2.0) else {
            return behind;
        };
        if y < rim || y > base + 1.5 {
            return behind;
        }
        let t = 2.0 * (x - vial.x) / vial.width;
        let is_glare = (t + 0.55).abs() < 0.05 && y > rim + 3.0 && y < base - 6.0;
        let glass = |share: f64| behind.map(|light| share * light);
        match y {
            _ if t.abs() > 0.88 || y > base => glass(0.5),
            y if y < surface => glass(0.9),
            y if y < surface + 1.0 => glass(0.6),
            _ => {
                let path = 0.5 + 0.5 * (1.0 - (t / 0.88).powi(2)).sqrt();
                std::array::from_fn(|c| {
                    0.95 * 10_f64.powf(-path * vial.absorbance[c]) + 0.015 + if is_glare { 0.3 } else { 0.0 }
                })
            }
        }
    }

    /// What is printed at a point of the card's plane; the printer lays down duller colours than asked for.
    fn printed(&self, x: f64, y: f64) -> [f64; 3] {
        let layout = self.layout;
        if !(0.0..=layout.width_mm).contains(&x) || !(0.0..=layout.height_mm).contains(&y) {
            return [0.22, 0.17, 0.12];
        }
        let point = tintwell::card::layout::PointMm { x, y };
        let grey = [0.22; 3];
        if let Some(tag) = layout.tags.iter().find(|tag| tag.rect().contains(point)) {
            let module = |t: f64| ((t / TAG_MODULE_MM) as usize).min(7);
            let (column, row) = (module(x - tag.x0), module(y - tag.y0));
            let is_data = (1..7).contains(&column) && (1..7).contains(&row);
            let code = tag36h11::CODES[usize::from(tag.id)];
            return [if is_data && tag36h11::is_white(code, row - 1, column - 1) { 1.0 } else { 0.04 }; 3];
        }
        if let Some(patch) = layout.patches.iter().find(|patch| patch.rect.contains(point)) {
            return match patch.kind {
                PatchKind::Paper if patch.rect.grown(-PAPER_OUTLINE_MM).contains(point) => [1.0; 3],
                PatchKind::Paper => grey,
                _ => patch.nominal_srgb.map(|value| 0.04 + 0.9 * linear(value)),
            };
        }
        let is_outline = layout
            .windows
            .iter()
            .any(|window| !window.contains(point) && window.grown(WINDOW_OUTLINE_MM).contains(point));
        if is_outline {
            return grey;
        }
        [if layout.scale_bar.contains(point) { 0.04 } else { 1.0 }; 3]
    }
}

/// Linear light of an 8-bit sRGB code (IEC 61966-2-1).
fn linear(code: u8) -> f64 {
    let value = f64::from(code) / 255.0;
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}
