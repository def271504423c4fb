//! The colours along a strip.

use super::super::raster::{Raster, relative};
use super::super::vial::SampleError;
use super::axis::{self, Axis};
use crate::card::layout::PointMm;
use crate::colour::difference::oklab;
use crate::math::stats;

/// Oklab times 100, paper as white.
pub type Lab = [f64; 3];

/// Distance of two colours.
pub fn distance(a: Lab, b: Lab) -> f64 {
    a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum::<f64>().sqrt()
}

/// Median of each coordinate.
pub fn median_lab(labs: impl Iterator<Item = Lab>) -> Option<Lab> {
    let labs: Vec<Lab> = labs.collect();
    let channel = |k: usize| stats::median_of(labs.iter().map(|lab| lab[k]));
    Some([channel(0)?, channel(1)?, channel(2)?])
}

/// Spacing along the strip, mm.
pub const STEP_MM: f64 = 0.25;
/// Share of the strip's width that is traced.
const CORE_SHARE: f64 = 0.6;
/// Paper beside the strip, from its edge, mm: beyond its shadow.
pub const BESIDE_MM: (f64, f64) = (1.6, 5.0);
/// Where the sides differ by more than this in lightness, half of the light, an object lies on the darker.
const ONE_SHADOW: f64 = 20.0;
/// Sides that differ by less than this in lightness are lit alike.
const ONE_LIGHT: f64 = 3.0;
/// Distance over which an edge is taken, in steps to either side.
const EDGE_STEPS: usize = 2;

/// A strip as it lies in the window.
#[derive(Debug, Clone)]
pub struct Lying {
    raster: Raster,
    labs: Vec<Option<Lab>>,
    /// Its axis.
    pub axis: Axis,
    /// Place of the first sample along the axis, mm.
    pub start: f64,
    /// Colours along the strip's middle, from the top of the window.
    pub core: Vec<Option<Lab>>,
    /// Colours of the paper beside it.
    pub beside: Vec<Option<Lab>>,
    /// How far the light on the strip's middle may be off from the paper's beside it, Oklab's lightness times
    /// 100: half of what the sides differ by, if they are not lit alike. Where a shadow's edge runs along the strip, the middle may be
    /// lit as either.
    doubt: Vec<f64>,
}

impl Lying {
    /// Finds a strip's axis and traces it.
    ///
    /// # Errors
    /// Nothing like a strip lies in the raster.
    pub fn find(raster: Raster) -> Result<Self, SampleError> {
        let labs: Vec<Option<Lab>> = (0..raster.rows())
            .flat_map(|row| (0..raster.columns()).map(move |column| (column, row)))
            .map(|(column, row)| raster.log(column, row).map(lab))
            .collect();
        let axis = axis::find(&raster, &labs).ok_or(SampleError::NoStrip)?;
        let reach = raster.step() * raster.rows() as f64 / 2.0 / axis.along.1 + 1.0;
        let count = (2.0 * reach / STEP_MM) as usize;
        let mut lying = Self {
            raster,
            labs,
            axis,
            start: -reach,
            core: Vec::new(),
            beside: Vec::new(),
            doubt: Vec::new(),
        };
        let half = axis.width / 2.0;
        for k in 0..count {
            let s = lying.place(k);
            let core = lying.across(s, -CORE_SHARE * half, CORE_SHARE * half);
            lying.core.push(core);
            let sides =
                [(-half - BESIDE_MM.1, -half - BESIDE_MM.0), (half + BESIDE_MM.0, half + BESIDE_MM.1)];
            let sides = sides.map(|(from, to)| lying.across(s, from, to));
            lying.beside.push(paper_of(sides));
            lying.doubt.push(doubt_of(sides));
        }
        Ok(lying)
    }

    /// Place of a sample along the axis, mm.
    pub fn place(&self, sample: usize) -> f64 {
        self.start + STEP_MM * sample as f64
    }

    /// Column and row at a point, if it lies in the raster.
    fn cell(&self, point: PointMm) -> Option<(usize, usize)> {
        let (column, row) = (self.raster.column_of(point.x).round(), self.raster.row_of(point.y).round());
        let inside = column >= 0.0
            && row >= 0.0
            && column < self.raster.columns() as f64
            && row < self.raster.rows() as f64;
        inside.then_some((column as usize, row as usize))
    }

    /// Median colour across the strip between two distances from the axis.
    fn across(&self, s: f64, from: f64, to: f64) -> Option<Lab> {
        let count = ((to - from) / self.raster.step()).floor() as usize;
        let labs: Vec<Lab> = (0..=count)
            .filter_map(|k| {
                let u = from + self.raster.step() * k as f64;
                let (column, row) = self.cell(self.axis.point(s, u))?;
                self.labs[row * self.raster.columns() + column]
            })
            .collect();
        if labs.len() * 2 < count { None } else { median_lab(labs.into_iter()) }
    }

    /// Light, and whether it is clipped, on a grid over part of the strip; places outside the picture
    /// or the window are left out.
    pub fn area(&self, (s0, s1): (f64, f64), (u0, u1): (f64, f64)) -> Vec<Cell> {
        let step = self.raster.step();
        let count = |from: f64, to: f64| ((to - from) / step).floor().max(0.0) as usize;
        let mut cells = Vec::new();
        for j in 0..=count(s0, s1) {
            for i in 0..=count(u0, u1) {
                let (s, u) = (s0 + step * j as f64, u0 + step * i as f64);
                let Some((column, row)) = self.cell(self.axis.point(s, u)) else { continue };
                let Some(log) = self.raster.log(column, row) else { continue };
                cells.push(Cell { s, u, log, is_clipped: self.raster.is_clipped(column, row) });
            }
        }
        cells
    }

    /// Strength of the edge across the strip at a sample, Oklab times 100.
    pub fn edge(&self, sample: usize) -> f64 {
        let before = sample.checked_sub(EDGE_STEPS).and_then(|k| self.core[k]);
        let after = self.core.get(sample + EDGE_STEPS).copied().flatten();
        before.zip(after).map_or(0.0, |(before, after)| distance(before, after))
    }

    /// How unlike another colour the strip's middle is for certain, wherever between its sides' light its own
    /// lies; the colour is one of [`Self::evenly_lit`] at this sample.
    pub fn surely_unlike(&self, sample: usize, lit: Lab, other: Lab) -> f64 {
        let lightness = ((lit[0] - other[0]).abs() - self.doubt[sample]).max(0.0);
        distance([lightness, lit[1], lit[2]], [0.0, other[1], other[2]])
    }

    /// Colours along the strip's middle as the paper beside it would be white: a shadow across the strip
    /// darkens both and falls out, a pad ends at the strip's edges.
    pub fn evenly_lit(&self) -> Vec<Option<Lab>> {
        let against = |core: Lab, paper: Lab| {
            // Oklab is homogeneous: light taken from all channels alike scales all coordinates.
            let gain = 100.0 / paper[0];
            [gain * core[0], gain * (core[1] - paper[1]), gain * (core[2] - paper[2])]
        };
        let pairs = self.core.iter().zip(&self.beside);
        pairs.map(|(core, paper)| core.map(|core| paper.map_or(core, |paper| against(core, paper)))).collect()
    }
}

/// Half of the difference in lightness of the sides, where both count.
fn doubt_of(sides: [Option<Lab>; 2]) -> f64 {
    let [Some(left), Some(right)] = sides else { return 0.0 };
    let difference = (left[0] - right[0]).abs();
    if difference < ONE_SHADOW { (difference - ONE_LIGHT).max(0.0) / 2.0 } else { 0.0 }
}

/// Colour of the paper on both sides: their mean, as a shadow's edge may run aslant.
fn paper_of(sides: [Option<Lab>; 2]) -> Option<Lab> {
    let lightest = sides.iter().flatten().map(|side| side[0]).fold(0.0, f64::max);
    median_lab(sides.into_iter().flatten().filter(|side| lightest - side[0] < ONE_SHADOW))
}

/// One place on the strip.
#[derive(Debug, Clone, Copy)]
pub struct Cell {
    /// Along the axis, mm.
    pub s: f64,
    /// Across it, mm.
    pub u: f64,
    /// Logarithm of the light relative to paper.
    pub log: [f64; 3],
    /// Whether it is white-clipped.
    pub is_clipped: bool,
}

/// Oklab times 100 of a logarithm of relative light.
pub fn lab(log: [f64; 3]) -> Lab {
    let lab = oklab(relative(log));
    [100.0 * lab.l, 100.0 * lab.a, 100.0 * lab.b]
}
