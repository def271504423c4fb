//! The liquid column between the walls: from the surface down to the base.

use palette::color_difference::EuclideanDistance as _;

use super::raster::{Raster, relative};
use crate::colour::difference::oklab;
use crate::math::stats;
use crate::terms::space::PaperOklab;

/// Half the distance over which a level edge is taken, mm.
const HALF_BASE_MM: f64 = 0.5;
/// Level edges weaker than this are the liquid's own shading, Oklab times 100 over the base.
const LEAST_EDGE: f64 = 4.0;
/// Rows closer than this belong to one edge, mm.
const SAME_EDGE_MM: f64 = 1.5;
/// Share of the vial's width about its axis in which level edges are sought: the rest shows the
/// walls, and the surface bends there.
const CORE_SHARE: f64 = 0.5;

/// A level edge: the liquid's surface, its base, a cap's rim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelEdge {
    /// Height on the card, mm.
    pub y: f64,
    /// Difference across it, Oklab times 100.
    pub strength: f64,
}

/// Level edges, from top to bottom.
pub fn level_edges(raster: &Raster, axis: &Axis, width: f64, (y0, y1): (f64, f64)) -> Vec<LevelEdge> {
    let half = (HALF_BASE_MM / raster.step()).round().max(1.0) as usize;
    let rows = raster.row_range(y0, y1);
    let colours: Vec<Option<PaperOklab>> = rows
        .clone()
        .map(|row| {
            let x = axis.x_at(raster.y(row as f64));
            row_colour(raster, row, x - CORE_SHARE * width / 2.0, x + CORE_SHARE * width / 2.0)
                .map(|log| oklab(relative(log)))
        })
        .collect();
    let mut edges: Vec<LevelEdge> = Vec::new();
    for k in half..colours.len().saturating_sub(half) {
        let (Some(above), Some(below)) = (colours[k - half], colours[k + half]) else { continue };
        let strength = 100.0 * above.distance_squared(below).sqrt();
        if strength >= LEAST_EDGE {
            add_edge(&mut edges, LevelEdge { y: raster.y((rows.start + k) as f64), strength });
        }
    }
    edges
}

/// Neighbouring rows belong to one edge, at its strongest.
fn add_edge(edges: &mut Vec<LevelEdge>, edge: LevelEdge) {
    match edges.last_mut() {
        Some(last) if edge.y - last.y < SAME_EDGE_MM => {
            if edge.strength > last.strength {
                *last = edge;
            }
        }
        _ => edges.push(edge),
    }
}

/// Median of each channel over part of a row.
pub fn row_colour(raster: &Raster, row: usize, x0: f64, x1: f64) -> Option<[f64; 3]> {
    let logs: Vec<[f64; 3]> =
        raster.column_range(x0, x1).filter_map(|column| raster.log(column, row)).collect();
    let channel = |k: usize| stats::median_of(logs.iter().map(|log| log[k]));
    Some([channel(0)?, channel(1)?, channel(2)?])
}

/// The vial's axis on the card's plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// Place at the reference height, mm.
    pub x: f64,
    /// Reference height, mm.
    pub y: f64,
    /// Sideways shift per mm of height.
    pub tilt: f64,
}

impl Axis {
    /// Place at a height, mm.
    pub fn x_at(&self, y: f64) -> f64 {
        self.x + self.tilt * (y - self.y)
    }
}
