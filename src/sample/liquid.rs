//! The liquid's colour: taken where it is most saturated.
//!
//! Reflections, the room's haze on the glass and the short way through the rim all take saturation
//! away, none adds any. So the liquid is divided into blocks, and the more saturated half (without the
//! very last ones, which are noise) gives the colour.

use super::column::Axis;
use super::raster::{Raster, relative};
use crate::math::stats;
use crate::terms::space::Relative;

/// Share of the vial's width about its axis that is looked at.
const CORE_SHARE: f64 = 0.76;
/// Blocks across and along the liquid.
const BLOCKS: (usize, usize) = (9, 12);
/// Share of the blocks, ranked by saturation, from which and up to which the colour is taken.
const RANKS: (f64, f64) = (0.5, 0.9);
/// Light brighter than the sample's colour by this factor in every channel is a reflection.
const GLARE_FACTOR: f64 = 1.6;
/// Fewer blocks with pixels say too little.
const LEAST_BLOCKS: usize = 40;

/// Colour of the liquid and how it was obtained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquid {
    /// Relative to bare paper.
    pub colour: Relative,
    /// Robust scatter of the blocks' saturation, natural logarithm.
    pub spread: f64,
    /// Share of the looked-at liquid that mirrors something.
    pub glare: f64,
    /// Share of the looked-at liquid that is clipped at white.
    pub clipped: f64,
    /// Half the measured width, mm.
    pub half_width: f64,
}

/// Measures the liquid between two heights; `None` if too little of it is in the picture.
pub fn measure(raster: &Raster, axis: &Axis, width: f64, rows: (f64, f64)) -> Option<Liquid> {
    let half_width = CORE_SHARE * width / 2.0;
    let mut blocks: Vec<[f64; 3]> = Vec::with_capacity(BLOCKS.0 * BLOCKS.1);
    let (mut logs, mut clipped) = (Vec::new(), 0_usize);
    for k in 0..BLOCKS.0 * BLOCKS.1 {
        let own = block_pixels(raster, axis, half_width, rows, (k % BLOCKS.0, k / BLOCKS.0));
        clipped += own.iter().filter(|(_, clipped)| *clipped).count();
        let channel = |k: usize| stats::median_of(own.iter().map(|(log, _)| log[k]));
        if let (Some(r), Some(g), Some(b)) = (channel(0), channel(1), channel(2)) {
            blocks.push([r, g, b]);
        }
        logs.extend(own.into_iter().map(|(log, _)| log));
    }
    if blocks.len() < LEAST_BLOCKS {
        return None;
    }
    let colour = most_saturated(&mut blocks);
    let mirrors = |log: &&[f64; 3]| (0..3).all(|channel| log[channel] > colour[channel] + GLARE_FACTOR.ln());
    let saturations: Vec<f64> = blocks.iter().map(saturation).collect();
    Some(Liquid {
        colour: relative(colour),
        spread: stats::robust_sigma(&saturations)?,
        glare: logs.iter().filter(mirrors).count() as f64 / logs.len() as f64,
        clipped: clipped as f64 / logs.len() as f64,
        half_width,
    })
}

/// Pixels of one block: logarithm of the relative light, and whether it is clipped.
fn block_pixels(
    raster: &Raster,
    axis: &Axis,
    half_width: f64,
    (top, bottom): (f64, f64),
    (column, row): (usize, usize),
) -> Vec<([f64; 3], bool)> {
    let share = |k: usize, of: usize| k as f64 / of as f64;
    let height = bottom - top;
    let y = (top + height * share(row, BLOCKS.1), top + height * share(row + 1, BLOCKS.1));
    let x = |k: usize| half_width * (2.0 * share(k, BLOCKS.0) - 1.0);
    let mut pixels = Vec::new();
    for row in raster.row_range(y.0, y.1) {
        let centre = axis.x_at(raster.y(row as f64));
        for column in raster.column_range(centre + x(column), centre + x(column + 1)) {
            pixels.extend(raster.log(column, row).map(|log| (log, raster.is_clipped(column, row))));
        }
    }
    pixels
}

/// Difference of the extreme channels, natural logarithm.
fn saturation(log: &[f64; 3]) -> f64 {
    log.iter().copied().fold(f64::NEG_INFINITY, f64::max) - log.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Mean logarithm of the ranked blocks.
fn most_saturated(blocks: &mut [[f64; 3]]) -> [f64; 3] {
    blocks.sort_by(|a, b| saturation(a).total_cmp(&saturation(b)));
    let rank = |share: f64| (share * blocks.len() as f64) as usize;
    let chosen = &blocks[rank(RANKS.0)..rank(RANKS.1)];
    std::array::from_fn(|channel| chosen.iter().map(|log| log[channel]).sum::<f64>() / chosen.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::RectMm;

    const YELLOW: Relative = [0.7, 0.6, 0.2];

    /// The liquid from 0 to 48 mm of a vial 20 mm wide that mirrors a lamp down to so many millimetres.
    fn mirroring(down_to_mm: f64) -> Liquid {
        let light = |_: f64, y: f64| if y < down_to_mm { [1.5; 3] } else { YELLOW };
        let raster = Raster::of(RectMm::new(-15.0, 0.0, 15.0, 48.0), 0.25, light);
        measure(&raster, &Axis { x: 0.0, y: 24.0, tilt: 0.0 }, 20.0, (0.0, 48.0)).unwrap()
    }

    #[test]
    fn what_mirrors_is_counted_and_lends_the_liquid_no_colour() {
        for share in [0.0, 0.25, 1.0 / 3.0] {
            let liquid = mirroring(48.0 * share);
            assert!((liquid.glare - share).abs() < 0.01, "{share} {}", liquid.glare);
            for (seen, own) in liquid.colour.into_iter().zip(YELLOW) {
                assert!((seen - own).abs() < 1e-9, "{share} {:?}", liquid.colour);
            }
        }
    }
}
