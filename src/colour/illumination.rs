//! How the light lies on the card: fitted over bare paper, to be divided out.
//!
//! Each channel's logarithm is a plane over the card, fitted robustly to some hundred cells of bare
//! paper, plus what the neighbouring cells leave over. What the planes leave over tells shadows;
//! how differently they slope tells lamps of different colour.

use nalgebra::{Matrix3, Vector3};

use super::area;
use crate::card::CardView;
use crate::card::layout::{Layout, PointMm, RectMm};
use crate::math::stats;
use crate::photo::Photo;
use crate::terms::space::Light;

/// Side of a cell of bare paper, mm.
const CELL_MM: f64 = 2.4;
/// Pixels of a cell that are looked at, at most: what their noise leaves in the mean of so many is less
/// than the paper's texture, and every place has several cells near it.
const CELL_PIXELS: f64 = 256.0;
/// Distance from one cell to the next, mm.
const PITCH_MM: f64 = 3.0;
/// Distance kept from print, card edge and window, mm: blur and sharpening carry colour across edges.
const CLEARANCE_MM: f64 = 0.7;
/// Reach of a cell's remainder, mm: shadows have soft edges about as wide.
const REACH_MM: f64 = 7.0;
/// Weight that pulls a place without near cells to the plane, in cells.
const PLANE_WEIGHT: f64 = 0.3;
/// Distance of the outermost paper from the card's edge, mm.
const EDGE_MM: f64 = 24.0;
/// Width of the paper beside a window that a sample may colour, mm.
const SAMPLE_REACH_MM: f64 = 4.0;
/// Fewer usable cells tell too little of the light.
const LEAST_CELLS: usize = 12;
/// A cell with more clipped pixels is not used.
const MOST_CLIPPED: f64 = 0.02;
/// Residuals below this are the paper's own texture, natural logarithm.
const PAPER_TEXTURE: f64 = 0.01;

/// Why the light on the card cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum IlluminationError {
    /// The paper is white-clipped nearly everywhere.
    #[error(
        "the card is overexposed: its paper is pure white in the photo; tap on the card so that the phone exposes for it, or dim the light"
    )]
    Overexposed,
    /// Too little bare paper is visible.
    #[error(
        "too little of the card's bare paper can be seen: uncover the card and keep it whole in the picture"
    )]
    TooLittlePaper,
    /// The paper is nearly black.
    #[error("the photo is far too dark (paper at {percent:.1} % of full scale): use more light")]
    Underexposed {
        /// Paper's level, percent of full scale, linear.
        percent: f64,
    },
}

/// Paper darker than this holds too few shades in 8 bits, linear light.
const DARKEST_PAPER: f64 = 0.02;

/// A measured cell of bare paper.
#[derive(Debug, Clone, Copy)]
struct Cell {
    place: PointMm,
    /// Natural logarithm of the light.
    log_light: [f64; 3],
    noise: f64,
}

/// The light over the card.
#[derive(Debug, Clone)]
pub struct Illumination {
    centre: PointMm,
    /// Constant, slope along x, slope along y (per 100 mm) of each channel's logarithm.
    planes: [Vector3<f64>; 3],
    cells: Vec<Cell>,
    /// What the plane leaves of each cell, natural logarithm.
    remainders: Vec<[f64; 3]>,
}

impl Illumination {
    /// Fits the light over all bare paper of the card.
    ///
    /// # Errors
    /// The paper is overexposed or far too dark, or too little of it is to be seen.
    pub fn fit(photo: &Photo, view: &CardView) -> Result<Self, IlluminationError> {
        let places = paper_cells(view.layout);
        let measured: Vec<_> = places
            .iter()
            .filter_map(|&place| {
                let area = RectMm::square_about(place, CELL_MM);
                area::measure(photo, view, area, CELL_PIXELS).map(|colour| (place, colour))
            })
            .collect();
        let usable: Vec<Cell> = measured
            .iter()
            .filter(|(_, colour)| colour.clipped <= MOST_CLIPPED)
            .map(|&(place, colour)| Cell {
                place,
                log_light: colour.light.map(|value| value.max(1e-5).ln()),
                noise: colour.noise,
            })
            .collect();
        if usable.len() < LEAST_CELLS {
            let clipped = measured.len() - usable.len();
            let overexposed = clipped > measured.len() / 2;
            return Err(if overexposed {
                IlluminationError::Overexposed
            } else {
                IlluminationError::TooLittlePaper
            });
        }
        let light = Self::of_cells(view.layout, usable);
        let level = light.level();
        if level < DARKEST_PAPER {
            return Err(IlluminationError::Underexposed { percent: 100.0 * level });
        }
        Ok(light)
    }

    fn of_cells(layout: &Layout, cells: Vec<Cell>) -> Self {
        let centre = layout.outline().centre();
        let planes = std::array::from_fn(|channel| fit_plane(&cells, centre, channel));
        let mut light = Self { centre, planes, cells, remainders: Vec::new() };
        light.remainders = light
            .cells
            .iter()
            .map(|cell| {
                let plane = light.plane_at(cell.place);
                std::array::from_fn(|channel| cell.log_light[channel] - plane[channel])
            })
            .collect();
        light
    }

    fn plane_at(&self, place: PointMm) -> [f64; 3] {
        let basis = basis(place, self.centre);
        std::array::from_fn(|channel| self.planes[channel].dot(&basis))
    }

    /// Light of bare paper at a place on the card.
    pub fn at(&self, place: PointMm) -> Light {
        self.log_on_grid(&[place.x], &[place.y])[0].map(f64::exp)
    }

    /// Natural logarithm of the light of bare paper at every place of a grid, row by row: of places in a
    /// row or column a cell's nearness is the product of two, one for each direction.
    pub fn log_on_grid(&self, columns: &[f64], rows: &[f64]) -> Vec<[f64; 3]> {
        let near = |distance: f64| (-0.5 * distance * distance / (REACH_MM * REACH_MM)).exp();
        let across: Vec<Vec<f64>> =
            columns.iter().map(|x| self.cells.iter().map(|cell| near(cell.place.x - x)).collect()).collect();
        let mut logs = Vec::with_capacity(columns.len() * rows.len());
        for &y in rows {
            let along: Vec<f64> = self.cells.iter().map(|cell| near(cell.place.y - y)).collect();
            for (&x, across) in columns.iter().zip(&across) {
                let remainder = self.remainder(across, &along);
                let plane = self.plane_at(PointMm { x, y });
                logs.push(std::array::from_fn(|channel| plane[channel] + remainder[channel]));
            }
        }
        logs
    }

    /// What the plane leaves over at a place, from the cells near it.
    fn remainder(&self, across: &[f64], along: &[f64]) -> [f64; 3] {
        let mut sum = [0.0; 3];
        let mut weight = PLANE_WEIGHT;
        for ((across, along), remainder) in across.iter().zip(along).zip(&self.remainders) {
            let near = across * along;
            weight += near;
            for (total, value) in sum.iter_mut().zip(remainder) {
                *total += near * value;
            }
        }
        sum.map(|sum| sum / weight)
    }

    /// Mean over the channels of the plane at the card's centre: the paper's level, linear.
    pub fn level(&self) -> f64 {
        self.planes.iter().map(|plane| plane[0].exp()).sum::<f64>() / 3.0
    }

    /// Colour of the light at the card's centre relative to its green, red and blue.
    pub fn cast(&self) -> (f64, f64) {
        ((self.planes[0][0] - self.planes[1][0]).exp(), (self.planes[2][0] - self.planes[1][0]).exp())
    }

    /// Largest brightness ratio over the card that the planes describe.
    pub fn fall_off(&self) -> f64 {
        let mean: Vector3<f64> = (self.planes[0] + self.planes[1] + self.planes[2]) / 3.0;
        (1.5 * mean[1].abs() + mean[2].abs()).exp()
    }

    /// Natural logarithm of the light on the right edge over that on the left, for each channel, as the
    /// planes describe it.
    pub fn change_across(&self) -> [f64; 3] {
        std::array::from_fn(|channel| self.planes[channel][1] * 2.0 * (self.centre.x - EDGE_MM) / 100.0)
    }

    /// Share of the paper that lies in a shadow the plane does not describe.
    pub fn shadowed_share(&self) -> f64 {
        let dark = self.remainders.iter().filter(|remainder| mean(remainder) < -0.12).count();
        dark as f64 / self.remainders.len() as f64
    }

    /// Noise of single pixels on paper, relative to its level.
    pub fn pixel_noise(&self) -> f64 {
        let noise: Vec<f64> = self.cells.iter().map(|cell| cell.noise).collect();
        stats::median(&noise).unwrap_or(0.0)
    }
}

fn mean(values: &[f64; 3]) -> f64 {
    values.iter().sum::<f64>() / 3.0
}

fn basis(place: PointMm, centre: PointMm) -> Vector3<f64> {
    Vector3::new(1.0, (place.x - centre.x) / 100.0, (place.y - centre.y) / 100.0)
}

/// Robust plane through one channel's logarithms, iteratively reweighted so that cells in a shadow
/// come to count for nothing.
fn fit_plane(cells: &[Cell], centre: PointMm, channel: usize) -> Vector3<f64> {
    let mut weights = vec![1.0; cells.len()];
    let mut plane = Vector3::zeros();
    for _ in 0..20 {
        let mut normal = Matrix3::from_diagonal_element(1e-9);
        let mut right = Vector3::zeros();
        for (cell, weight) in cells.iter().zip(&weights) {
            let basis = basis(cell.place, centre);
            normal += *weight * basis * basis.transpose();
            right += *weight * cell.log_light[channel] * basis;
        }
        let Some(solver) = normal.cholesky() else { break };
        plane = solver.solve(&right);
        let residuals: Vec<f64> = cells
            .iter()
            .map(|cell| (cell.log_light[channel] - plane.dot(&basis(cell.place, centre))).abs())
            .collect();
        let scale = (1.4826 * stats::median(&residuals).unwrap_or(0.0)).max(PAPER_TEXTURE);
        for (weight, residual) in weights.iter_mut().zip(&residuals) {
            *weight = (1.0 + (residual / (2.0 * scale)).powi(2)).recip().powi(2);
        }
    }
    plane
}

/// Where a sample stands, and the paper beside it on which it throws coloured light and shadow: down
/// to the card's edge, since vials reach below the window.
fn before_window(layout: &Layout, window: &RectMm) -> RectMm {
    RectMm::new(window.x0 - SAMPLE_REACH_MM, window.y0, window.x1 + SAMPLE_REACH_MM, layout.height_mm)
}

/// Centres of cells that lie on bare paper, clear of print, slips, windows and the card's edge.
fn paper_cells(layout: &Layout) -> Vec<PointMm> {
    let half = CELL_MM / 2.0;
    let inner = layout.outline().grown(-(half + 1.0));
    let margin = half + CLEARANCE_MM;
    let taken: Vec<RectMm> = layout
        .occupied()
        .chain(layout.windows.iter().map(|window| before_window(layout, window)))
        .map(|rect| rect.grown(margin))
        .collect();
    let steps =
        |from: f64, to: f64| (0..=((to - from) / PITCH_MM) as usize).map(move |k| from + PITCH_MM * k as f64);
    steps(inner.y0, inner.y1)
        .flat_map(|y| steps(inner.x0, inner.x1).map(move |x| PointMm { x, y }))
        .filter(|&place| taken.iter().all(|rect| !rect.contains(place)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{VERSION_1, VERSION_2};

    #[test]
    fn both_cards_offer_paper_on_all_sides() {
        for layout in [&VERSION_1, &VERSION_2] {
            let cells = paper_cells(layout);
            let centre = layout.outline().centre();
            assert!(cells.len() > 100, "{} cells", cells.len());
            let sides: [fn(PointMm, PointMm) -> bool; 4] = [
                |p, c| p.x < c.x - 40.0,
                |p, c| p.x > c.x + 40.0,
                |p, c| p.y < c.y - 35.0,
                |p, c| p.y > c.y + 35.0,
            ];
            for side in sides {
                assert!(cells.iter().filter(|&&cell| side(cell, centre)).count() > 10);
            }
        }
    }

    #[test]
    fn no_paper_cell_touches_a_slip_place() {
        for slip in VERSION_1.slips() {
            assert!(paper_cells(&VERSION_1).into_iter().all(|cell| !slip.contains(cell)));
        }
    }

    #[test]
    fn a_sloping_light_is_given_back_and_a_shadow_shows() {
        let cells: Vec<Cell> = paper_cells(&VERSION_1)
            .into_iter()
            .map(|place| {
                let slope = 0.2 * (place.x - 75.0) / 100.0;
                let shadow = if place.x < 30.0 && place.y < 40.0 { -0.5 } else { 0.0 };
                Cell { place, log_light: [slope + shadow, 2.0 * slope + shadow, shadow], noise: 0.01 }
            })
            .collect();
        let light = Illumination::of_cells(&VERSION_1, cells);
        let there = light.at(PointMm { x: 125.0, y: 50.0 });
        assert!((there[0].ln() - 0.1).abs() < 0.01 && (there[1].ln() - 0.2).abs() < 0.01, "{there:?}");
        assert!(light.at(PointMm { x: 25.0, y: 32.0 })[2] < 0.75);
        assert!(light.shadowed_share() > 0.02);
        // Green against blue: 0.4 in 100 mm over 102 mm.
        let across = light.change_across();
        assert!((across[1] - across[2] - 0.408).abs() < 0.02, "{across:?}");
    }
}
