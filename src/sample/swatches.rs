//! Printed swatches lying in the window, in one row or column: where they are, and their colours.
//!
//! What stands out from paper is cleaned of print, gathered, and looked at along its longer direction;
//! there swatches end at gaps, and where colours step. Order: from the left, or from the top.

use super::raster::{Raster, relative};
use super::strip::{Lab, distance, lab, median_lab};
use crate::card::CardView;
use crate::card::layout::{PointMm, RectMm};
use crate::colour::Illumination;
use crate::math::stats;
use crate::photo::Photo;
use crate::terms::space::Relative;

/// Spacing of the grid on which the window is looked at, mm.
const GRID_MM: f64 = 0.25;
/// Kept clear of the window's outline, mm.
const OUTLINE_CLEARANCE_MM: f64 = 0.7;
/// A swatch differs from paper by at least this, Oklab times 100.
const LEAST_CONTRAST: f64 = 2.5;
/// Light cells of less chroma than this may be the leaflet's own paper, Oklab times 100.
const PAPER_CHROMA: f64 = 3.0;
/// And are at least this light.
const PAPER_LIGHTNESS: f64 = 82.0;
/// Print thinner than twice this is no swatch, mm.
const PRINT_MM: f64 = 0.5;
/// Shortest side of a swatch, mm.
const LEAST_SIDE_MM: f64 = 2.0;
/// Part across the row in which colours are followed, as a share of its width.
const CORE_SHARE: f64 = 0.5;
/// Half of the distance over which a step between touching swatches is taken, grid cells.
const STEP_REACH: usize = 3;
/// A step between touching swatches, Oklab times 100.
const LEAST_STEP: f64 = 1.0;
/// Left out at both ends of a swatch, as a share of its length: blur, bleeding, frames.
const INSET_SHARE: f64 = 0.22;
/// Share of the middle that is kept, the nearest to its median.
const KEPT_SHARE: f64 = 0.8;
/// Steepest tilt of a row against the window, degrees.
const MOST_TILT: f64 = 20.0;

/// A swatch found.
#[derive(Debug, Clone, PartialEq)]
pub struct Swatch {
    /// Colour relative to bare paper.
    pub colour: Relative,
    /// Relative scatter over it.
    pub spread: f64,
    /// Its corners on the card, mm.
    pub area: [PointMm; 4],
}

/// Finds the swatches of a window, from the left or from the top; none if nothing stands out.
pub fn find_swatches(photo: &Photo, view: &CardView, light: &Illumination, window: RectMm) -> Vec<Swatch> {
    let raster = Raster::sample(photo, view, light, window.grown(-OUTLINE_CLEARANCE_MM), GRID_MM);
    let grid = Grid::new(&raster);
    let mask = grid.cleaned();
    let Some(row) = Row::of(&grid, &mask) else { return Vec::new() };
    let along = row.profile(&grid, &mask);
    stretches(&along).into_iter().filter_map(|(from, to)| row.measure(&grid, &raster, from, to)).collect()
}

/// The window's colours.
struct Grid {
    columns: usize,
    rows: usize,
    labs: Vec<Option<Lab>>,
}

impl Grid {
    fn new(raster: &Raster) -> Self {
        let (columns, rows) = (raster.columns(), raster.rows());
        let labs = (0..rows * columns).map(|k| raster.log(k % columns, k / columns).map(lab)).collect();
        Self { columns, rows, labs }
    }

    /// Cells that stand out from the card's paper and from the leaflet's, without thin print.
    fn cleaned(&self) -> Vec<bool> {
        let is_paper = |lab: &Lab| lab[0] > PAPER_LIGHTNESS && lab[1].hypot(lab[2]) < PAPER_CHROMA;
        let card = [100.0, 0.0, 0.0];
        let leaflet = median_lab(self.labs.iter().flatten().copied().filter(is_paper)).unwrap_or(card);
        let stands_out = |lab: &Option<Lab>| {
            lab.is_some_and(|lab| distance(lab, leaflet).min(distance(lab, card)) > LEAST_CONTRAST)
        };
        let mask: Vec<bool> = self.labs.iter().map(stands_out).collect();
        let reach = (PRINT_MM / GRID_MM) as usize;
        let core = self.swept(&mask, reach, false);
        self.swept(&core, reach, true)
    }

    /// Each cell takes `value` if any cell within reach has it: erosion with `false`, dilation with `true`.
    fn swept(&self, mask: &[bool], reach: usize, value: bool) -> Vec<bool> {
        let line = |mask: &[bool], count: usize, stride: usize, k: usize, at: usize| {
            let from = at.saturating_sub(reach);
            let to = (at + reach).min(count - 1);
            let first = k - at * stride;
            (from..=to).any(|other| mask[first + other * stride] == value) == value
        };
        let across: Vec<bool> =
            (0..mask.len()).map(|k| line(mask, self.columns, 1, k, k % self.columns)).collect();
        (0..mask.len()).map(|k| line(&across, self.rows, self.columns, k, k / self.columns)).collect()
    }
}

/// The line along which the swatches lie, in grid cells.
struct Row {
    centre: (f64, f64),
    /// Unit vector along it, to the right or downwards.
    along: (f64, f64),
    /// Extent along it on both sides of the centre.
    reach: f64,
    /// Width across it.
    width: f64,
}

impl Row {
    /// From the cells that stand out; `None` if they form no row.
    fn of(grid: &Grid, mask: &[bool]) -> Option<Self> {
        let cells: Vec<(f64, f64)> = (0..mask.len())
            .filter(|k| mask[*k])
            .map(|k| ((k % grid.columns) as f64, (k / grid.columns) as f64))
            .collect();
        let count = cells.len() as f64;
        if count * GRID_MM * GRID_MM < LEAST_SIDE_MM * LEAST_SIDE_MM {
            return None;
        }
        let centre =
            (cells.iter().map(|c| c.0).sum::<f64>() / count, cells.iter().map(|c| c.1).sum::<f64>() / count);
        let moment = |f: &dyn Fn(f64, f64) -> f64| {
            cells.iter().map(|c| f(c.0 - centre.0, c.1 - centre.1)).sum::<f64>() / count
        };
        let (xx, yy, xy) = (moment(&|x, _| x * x), moment(&|_, y| y * y), moment(&|x, y| x * y));
        // Main axis of the cells' covariance.
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let (mut dx, mut dy) = (angle.cos(), angle.sin());
        if (dx.abs() > dy.abs() && dx < 0.0) || (dy.abs() >= dx.abs() && dy < 0.0) {
            (dx, dy) = (-dx, -dy);
        }
        if dx.abs().min(dy.abs()) > MOST_TILT.to_radians().sin() {
            return None;
        }
        let reach =
            cells.iter().map(|c| ((c.0 - centre.0) * dx + (c.1 - centre.1) * dy).abs()).fold(0.0, f64::max);
        let across: Vec<f64> =
            cells.iter().map(|c| ((c.1 - centre.1) * dx - (c.0 - centre.0) * dy).abs()).collect();
        // Distances from the middle line are even over half the width: their median is a quarter of it.
        let width = 4.0 * stats::median(&across)?;
        Some(Self { centre, along: (dx, dy), reach, width })
    }

    /// Column and row at `s` cells along and `u` cells across.
    fn cell(&self, grid: &Grid, s: f64, u: f64) -> Option<usize> {
        let (dx, dy) = self.along;
        let x = (self.centre.0 + s * dx - u * dy).round();
        let y = (self.centre.1 + s * dy + u * dx).round();
        let inside = x >= 0.0 && y >= 0.0 && x < grid.columns as f64 && y < grid.rows as f64;
        inside.then(|| y as usize * grid.columns + x as usize)
    }

    fn across(&self) -> impl Iterator<Item = f64> {
        let half = CORE_SHARE * self.width / 2.0;
        let count = half.floor() as i32;
        (-count..=count).map(f64::from)
    }

    /// Median colour along the line where most of its width stands out.
    fn profile(&self, grid: &Grid, mask: &[bool]) -> Vec<Option<Lab>> {
        let count = (2.0 * self.reach).ceil() as usize + 1;
        let colour = |k: usize| {
            let s = k as f64 - self.reach;
            let cells: Vec<usize> = self.across().filter_map(|u| self.cell(grid, s, u)).collect();
            let seen: Vec<Lab> = cells.iter().filter(|k| mask[**k]).filter_map(|k| grid.labs[*k]).collect();
            if seen.len() * 2 > cells.len() { median_lab(seen.into_iter()) } else { None }
        };
        (0..count).map(colour).collect()
    }

    /// Colour of the middle of a stretch; `None` if too little of it is seen.
    fn measure(&self, grid: &Grid, raster: &Raster, from: usize, to: usize) -> Option<Swatch> {
        let (from, to) = (from as f64 - self.reach, to as f64 - self.reach);
        let inset = INSET_SHARE * (to - from);
        let count = (to - from - 2.0 * inset).floor() as usize;
        let cells = (0..=count)
            .flat_map(|k| self.across().map(move |u| (from + inset + k as f64, u)))
            .filter_map(|(s, u)| self.cell(grid, s, u))
            .filter_map(|k| raster.log(k % grid.columns, k / grid.columns));
        let (mean, spread) = robust_mean(cells.collect())?;
        let corner = |s: f64, u: f64| {
            let (dx, dy) = self.along;
            let (x, y) = (self.centre.0 + s * dx - u * dy, self.centre.1 + s * dy + u * dx);
            PointMm { x: raster.x(x), y: raster.y(y) }
        };
        let half = self.width / 2.0;
        let area = [corner(from, -half), corner(to, -half), corner(to, half), corner(from, half)];
        Some(Swatch { colour: relative(mean), spread, area })
    }
}

/// First and last sample of each swatch along the line.
fn stretches(along: &[Option<Lab>]) -> Vec<(usize, usize)> {
    let step = |k: usize| {
        let before = k.checked_sub(STEP_REACH).and_then(|k| along[k]);
        let after = along.get(k + STEP_REACH).copied().flatten();
        before.zip(after).map_or(0.0, |(a, b)| distance(a, b))
    };
    let steps: Vec<f64> = (0..along.len()).map(step).collect();
    let boundaries: Vec<usize> = (0..steps.len()).filter_map(|k| boundary(&steps, k)).collect();
    let mut found = Vec::new();
    let mut start = None;
    for k in 0..=along.len() {
        let ends = k == along.len() || along[k].is_none() || boundaries.contains(&k);
        match (start, ends) {
            (Some(first), true) => {
                found.push((first, k - 1));
                start = (k < along.len() && along[k].is_some()).then_some(k);
            }
            (None, false) => start = Some(k),
            _ => {}
        }
    }
    let least = (LEAST_SIDE_MM / GRID_MM) as usize;
    found.into_iter().filter(|(first, last)| last - first + 1 >= least).collect()
}

/// The middle of a peak of the steps that begins at a sample.
fn boundary(steps: &[f64], first: usize) -> Option<usize> {
    let height = steps[first];
    let mut near = first.saturating_sub(STEP_REACH)..(first + STEP_REACH + 1).min(steps.len());
    let is_peak = near.all(|k| steps[k] < height || (k >= first && steps[k] <= height));
    let flat = steps[first..].iter().take_while(|step| **step >= height).count();
    (height > LEAST_STEP && is_peak).then_some(first + flat / 2)
}

/// Mean logarithm of the cells nearest to the median colour, and their scatter.
fn robust_mean(mut cells: Vec<[f64; 3]>) -> Option<([f64; 3], f64)> {
    let centre = median_lab(cells.iter().map(|log| lab(*log)))?;
    cells.sort_by(|a, b| distance(lab(*a), centre).total_cmp(&distance(lab(*b), centre)));
    cells.truncate(((KEPT_SHARE * cells.len() as f64) as usize).max(1));
    let channel = |k: usize| cells.iter().map(|log| log[k]).collect::<Vec<_>>();
    let mean = [stats::mean(&channel(0))?, stats::mean(&channel(1))?, stats::mean(&channel(2))?];
    let scatter: Vec<f64> = (0..3).filter_map(|k| stats::standard_deviation(&channel(k))).collect();
    Some((mean, stats::mean(&scatter).unwrap_or(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Option<Lab> = Some([80.0, 0.0, 10.0]);
    const B: Option<Lab> = Some([78.0, 1.0, 14.0]);

    #[test]
    fn swatches_end_at_gaps_and_where_colours_step() {
        let along: Vec<Option<Lab>> = [vec![A; 20], vec![B; 20], vec![None; 4], vec![B; 20]].concat();
        assert_eq!(stretches(&along), [(0, 19), (20, 39), (44, 63)]);
    }

    #[test]
    fn an_even_stretch_is_one_swatch_and_a_short_one_none() {
        assert_eq!(stretches(&[A; 30]), [(0, 29)]);
        assert_eq!(stretches(&[A; 7]), []);
        assert_eq!(stretches(&[]), []);
    }
}
