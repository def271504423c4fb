//! The glass walls: sharp upright edges, seen even when the liquid is clear.

use std::ops::Range;

use super::raster::Raster;
use crate::math::stats::{self, Ranked};

/// Half the distance over which an edge is taken, mm: rims are sharp, shadows and bright spots soft.
const HALF_BASE_MM: f64 = 0.5;
/// An edge must stand out by this many times the noise of edges elsewhere.
const NOISE_FACTOR: f64 = 5.0;
/// And by at least this much, natural logarithm over the base: the paper's own texture.
const LEAST_EDGE: f64 = 0.045;
/// Edges closer than this belong to one wall: its outer face, its rim and its inner face, mm.
const WALL_MM: f64 = 2.2;
/// A group reaches as far as its edge has this share of its strongest.
const STEEP_SHARE: f64 = 0.3;
/// Height of the slices in which walls are followed down, mm.
const SLICE_MM: f64 = 3.0;
/// Sideways reach in which they are followed, mm.
const REACH_MM: f64 = 0.75;
/// A wall runs through a slice that shows this share of the stronger wall's edge. On 150 rendered photos each
/// slice of the liquid's lower half shows 0.43 of it or more, half of them all; of 196 slices below a base, in
/// such photos altered, none shows more than 0.28 and one in twenty 0.06.
const SEEN_SHARE: f64 = 0.35;
/// Tilts that are tried, mm sideways per mm of height.
const TILTS: [f64; 7] = [0.0, -0.02, 0.02, -0.04, 0.04, -0.06, 0.06];

/// A wall or another upright edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Outer edges of the cluster on the card, mm, at the middle of the rows looked at.
    pub x0: f64,
    /// Right end of the cluster, mm.
    pub x1: f64,
    /// Strongest edge in it, natural logarithm.
    pub strength: f64,
}

/// Upright edges and the tilt at which they are sharpest.
#[derive(Debug, Clone, PartialEq)]
pub struct Walls {
    /// From left to right.
    pub walls: Vec<Wall>,
    /// Height for which their places are given, mm.
    pub y: f64,
    /// Sideways shift per mm of height.
    pub tilt: f64,
}

impl Walls {
    /// Down to which height one of the outermost walls runs, if it does below `y`, mm: a vial that is held or
    /// stands higher than the card shows bare card below its base.
    pub fn foot(&self, raster: &Raster, end: f64) -> f64 {
        let outermost: Vec<&Wall> = self.walls.first().into_iter().chain(self.walls.last()).collect();
        let least = SEEN_SHARE * outermost.iter().map(|wall| wall.strength).fold(0.0, f64::max);
        let runs_through = |&y: &f64| outermost.iter().any(|wall| self.edge(raster, wall, y) >= least);
        let count = ((end - self.y) / SLICE_MM).floor().max(0.0) as usize;
        let mut feet = (0..count).map(|slice| end - SLICE_MM * slice as f64);
        feet.find(runs_through).unwrap_or(self.y)
    }

    /// What a wall shows in the slice that ends at a height, natural logarithm.
    fn edge(&self, raster: &Raster, wall: &Wall, end: f64) -> f64 {
        let rows = (end - SLICE_MM, end);
        let shift = self.tilt * ((rows.0 + rows.1) / 2.0 - self.y);
        let range = (wall.x0 + shift - REACH_MM, wall.x1 + shift + REACH_MM);
        Edges::new(raster, range, rows).profile(self.tilt).into_iter().fold(0.0, f64::max)
    }
}

/// Finds upright edges between `x0` and `x1` that run through the rows between `y0` and `y1`. Where
/// `hidden` holds, the card's own print lies, and nothing is looked for.
pub fn find(
    raster: &Raster,
    (x0, x1): (f64, f64),
    (y0, y1): (f64, f64),
    hidden: impl Fn(f64) -> bool,
) -> Walls {
    let edges = Edges::new(raster, (x0, x1), (y0, y1));
    TILTS
        .into_iter()
        .map(|tilt| {
            let mut profile = edges.profile(tilt);
            for (k, edge) in profile.iter_mut().enumerate() {
                if hidden(x0 + raster.step() * (k as f64 + 0.5)) {
                    *edge = 0.0;
                }
            }
            (profile, tilt)
        })
        .map(|(profile, tilt)| (sharpness(&profile), profile, tilt))
        // Ties go to the first, the upright one.
        .fold(None::<(f64, Vec<f64>, f64)>, |best, next| match best {
            Some(best) if best.0 >= next.0 => Some(best),
            _ => Some(next),
        })
        .map_or(Walls { walls: Vec::new(), y: edges.middle, tilt: 0.0 }, |(_, profile, tilt)| Walls {
            walls: clusters(&profile, x0, raster.step()),
            y: edges.middle,
            tilt,
        })
}

/// Signed differences across the base in all channels, natural logarithm; taken once for all tilts.
struct Edges<'r> {
    raster: &'r Raster,
    rows: Range<usize>,
    /// Left end and number of the places that are looked at.
    x0: f64,
    count: usize,
    /// Height at which a tilt moves nothing.
    middle: f64,
    /// Column by column; `None` where a side is not in the picture.
    differences: Vec<Option<[f64; 3]>>,
}

impl<'r> Edges<'r> {
    fn new(raster: &'r Raster, (x0, x1): (f64, f64), (y0, y1): (f64, f64)) -> Self {
        let half = (HALF_BASE_MM / raster.step()).round().max(1.0) as usize;
        let rows = raster.row_range(y0, y1);
        let difference = |column: usize, row: usize| {
            let right = Some(column + half).filter(|&right| right < raster.columns())?;
            let left = raster.log(column.checked_sub(half)?, row)?;
            let right = raster.log(right, row)?;
            Some(std::array::from_fn(|channel| right[channel] - left[channel]))
        };
        let places = (0..raster.columns()).flat_map(|column| rows.clone().map(move |row| (column, row)));
        let differences = places.map(|(column, row)| difference(column, row)).collect();
        let count = ((x1 - x0) / raster.step()) as usize;
        Self { raster, rows, x0, count, middle: (y0 + y1) / 2.0, differences }
    }

    /// Strength of upright edges at every place: the median over the rows of the signed difference, so
    /// that texture and bubbles cancel, then the largest channel.
    fn profile(&self, tilt: f64) -> Vec<f64> {
        let raster = self.raster;
        let first = |row: usize| {
            let x = self.x0 + raster.step() * 0.5 + tilt * (raster.y(row as f64) - self.middle);
            raster.column_of(x).round() as isize
        };
        let first: Vec<isize> = self.rows.clone().map(first).collect();
        let mut differences: [Ranked; 3] = Default::default();
        let strength = |k: usize| {
            differences.iter_mut().for_each(Ranked::clear);
            for (row, first) in first.iter().enumerate() {
                let Some(difference) = self.at(first + k as isize, row) else { continue };
                for (all, value) in differences.iter_mut().zip(difference) {
                    all.push(value);
                }
            }
            differences.iter_mut().filter_map(Ranked::median).map(f64::abs).fold(0.0, f64::max)
        };
        (0..self.count).map(strength).collect()
    }

    fn at(&self, column: isize, row: usize) -> Option<[f64; 3]> {
        let column = usize::try_from(column).ok().filter(|&column| column < self.raster.columns())?;
        self.differences[column * self.rows.len() + row]
    }
}

/// Sum of the squares: largest when edges run straight along the tilt.
fn sharpness(profile: &[f64]) -> f64 {
    profile.iter().map(|edge| edge * edge).sum()
}

/// Groups of neighbouring columns above the threshold, each cut back to where it is steep.
fn clusters(profile: &[f64], x0: f64, step: f64) -> Vec<Wall> {
    let noise = stats::median(profile).unwrap_or(0.0);
    let threshold = (NOISE_FACTOR * noise).clamp(LEAST_EDGE, 4.0 * LEAST_EDGE);
    let gap = (WALL_MM / step) as usize;
    let mut groups: Vec<(usize, usize)> = Vec::new();
    for k in (0..profile.len()).filter(|&k| profile[k] >= threshold) {
        match groups.last_mut() {
            Some((_, last)) if k - *last <= gap => *last = k,
            _ => groups.push((k, k)),
        }
    }
    groups.into_iter().map(|(first, last)| steep_part(profile, first, last, x0, step)).collect()
}

/// Beside a dark liquid the bright spot it throws on the card fades over millimetres: a slope that
/// is no part of the wall.
fn steep_part(profile: &[f64], first: usize, last: usize, x0: f64, step: f64) -> Wall {
    let strength = profile[first..=last].iter().copied().fold(0.0, f64::max);
    let steep = |k: &usize| profile[*k] >= STEEP_SHARE * strength;
    let start = (first..=last).find(steep).unwrap_or(first);
    let end = (first..=last).rev().find(steep).unwrap_or(last);
    let x = |k: usize| x0 + step * (k as f64 + 0.5);
    Wall { x0: x(start), x1: x(end), strength }
}
