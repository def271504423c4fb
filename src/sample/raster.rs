//! A part of the card's plane, resampled on an even grid in millimetres.

use crate::card::CardView;
use crate::card::layout::{PointMm, RectMm};
use crate::colour::Illumination;
use crate::colour::area::code_at;
use crate::photo::{Encoding, Photo};
use crate::terms::space::Relative;

/// Darkest relative light that is told from black, so that logarithms stay finite.
pub const FLOOR: f64 = 2e-3;

/// Light relative to bare paper on a grid over a rectangle of the card's plane.
#[derive(Debug, Clone)]
pub struct Raster {
    area: RectMm,
    step: f64,
    columns: usize,
    rows: usize,
    /// Natural logarithm of the light relative to paper; `None` outside the picture.
    values: Vec<Option<[f64; 3]>>,
    clipped: Vec<bool>,
}

impl Raster {
    /// Samples the photo every `step` millimetres. The light is taken at the nearest point of `lit`,
    /// the part of the card over which it was fitted.
    pub fn sample(photo: &Photo, view: &CardView, light: &Illumination, area: RectMm, step: f64) -> Self {
        let columns = (area.width() / step).floor() as usize;
        let rows = (area.height() / step).floor() as usize;
        let lights = LightGrid::new(light, view, area);
        let logs = Logs::new(&photo.encoding);
        let floor = FLOOR.ln();
        let place = |from: f64, k: usize| from + step * (k as f64 + 0.5);
        let across: Vec<(f64, Between)> = (0..columns)
            .map(|column| place(area.x0, column))
            .map(|x| (x, lights.between_columns(x)))
            .collect();
        let mut paper = Vec::with_capacity(lights.columns);
        let mut values = Vec::with_capacity(columns * rows);
        let mut clipped = Vec::with_capacity(columns * rows);
        for row in 0..rows {
            let y = place(area.y0, row);
            lights.along_row(y, &mut paper);
            for &(x, between) in &across {
                let code = code_at(photo, view, PointMm { x, y });
                clipped.push(code.is_some_and(|code| code.iter().all(|&value| value >= 250)));
                values.push(code.map(|code| {
                    let (paper, own) = (between.of(&paper), logs.of(code));
                    std::array::from_fn(|channel| (own[channel] - paper[channel]).max(floor))
                }));
            }
        }
        Self { area, step, columns, rows, values, clipped }
    }

    /// A raster whose light relative to paper is a function of the place, x and y in mm.
    #[cfg(test)]
    pub fn of(area: RectMm, step: f64, light: impl Fn(f64, f64) -> Relative) -> Self {
        let (columns, rows) = ((area.width() / step) as usize, (area.height() / step) as usize);
        let empty =
            Self { area, step, columns, rows, values: Vec::new(), clipped: vec![false; columns * rows] };
        let of = |k: usize| light(empty.x((k % columns) as f64), empty.y((k / columns) as f64)).map(f64::ln);
        Self { values: (0..columns * rows).map(|k| Some(of(k))).collect(), ..empty }
    }

    /// Number of columns.
    pub fn columns(&self) -> usize {
        self.columns
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Distance between neighbours, mm.
    pub fn step(&self) -> f64 {
        self.step
    }

    /// Logarithm of the relative light; `None` outside the picture.
    pub fn log(&self, column: usize, row: usize) -> Option<[f64; 3]> {
        self.values[row * self.columns + column]
    }

    /// Whether the pixel is white-clipped in all channels.
    pub fn is_clipped(&self, column: usize, row: usize) -> bool {
        self.clipped[row * self.columns + column]
    }

    /// Centre of a column on the card, mm.
    pub fn x(&self, column: f64) -> f64 {
        self.area.x0 + self.step * (column + 0.5)
    }

    /// Centre of a row on the card, mm.
    pub fn y(&self, row: f64) -> f64 {
        self.area.y0 + self.step * (row + 0.5)
    }

    /// Column, with fraction, of a place on the card.
    pub fn column_of(&self, x: f64) -> f64 {
        (x - self.area.x0) / self.step - 0.5
    }

    /// Row, with fraction, of a place on the card.
    pub fn row_of(&self, y: f64) -> f64 {
        (y - self.area.y0) / self.step - 0.5
    }

    /// Indices of the rows between two heights on the card.
    pub fn row_range(&self, y0: f64, y1: f64) -> std::ops::Range<usize> {
        span(self.row_of(y0), self.row_of(y1), self.rows)
    }

    /// Indices of the columns between two places on the card.
    pub fn column_range(&self, x0: f64, x1: f64) -> std::ops::Range<usize> {
        span(self.column_of(x0), self.column_of(x1), self.columns)
    }
}

fn span(from: f64, to: f64, count: usize) -> std::ops::Range<usize> {
    let start = from.ceil().clamp(0.0, count as f64) as usize;
    let end = (to.floor() + 1.0).clamp(0.0, count as f64) as usize;
    start..end.max(start)
}

/// Relative light of a logarithm.
pub fn relative(log: [f64; 3]) -> Relative {
    log.map(f64::exp)
}

/// Natural logarithm of a pixel's light.
struct Logs<'a> {
    encoding: &'a Encoding,
    /// That of every code, where the channels mean sRGB's.
    of_codes: Option<Box<[[f64; 256]; 3]>>,
}

impl<'a> Logs<'a> {
    fn new(encoding: &'a Encoding) -> Self {
        let of_channel = |channel| encoding.curve(channel).map(|value| f64::from(value).ln());
        let of_codes = encoding.has_srgb_primaries().then(|| Box::new(std::array::from_fn(of_channel)));
        Self { encoding, of_codes }
    }

    /// Of a colour that holds none of a channel the logarithm is below all numbers, or none.
    #[inline]
    fn of(&self, code: [u8; 3]) -> [f64; 3] {
        match &self.of_codes {
            Some(table) => std::array::from_fn(|channel| table[channel][usize::from(code[channel])]),
            None => self.encoding.linear(code).map(f64::ln),
        }
    }
}

/// The illumination on a coarse grid, interpolated: evaluating it for every pixel would cost more
/// than all the rest.
struct LightGrid {
    area: RectMm,
    columns: usize,
    rows: usize,
    logs: Vec<[f64; 3]>,
}

/// Spacing of that grid, mm: well below the reach of a shadow's edge.
const LIGHT_GRID_MM: f64 = 3.0;

impl LightGrid {
    fn new(light: &Illumination, view: &CardView, area: RectMm) -> Self {
        let outline = view.layout.outline();
        let columns = (area.width() / LIGHT_GRID_MM).ceil() as usize + 1;
        let rows = (area.height() / LIGHT_GRID_MM).ceil() as usize + 1;
        // Beyond the card nothing is known of the light: the card's edge stands for it.
        let places = |from: f64, count: usize, least: f64, most: f64| -> Vec<f64> {
            (0..count).map(|k| (from + LIGHT_GRID_MM * k as f64).clamp(least, most)).collect()
        };
        let logs = light.log_on_grid(
            &places(area.x0, columns, outline.x0, outline.x1),
            &places(area.y0, rows, outline.y0, outline.y1),
        );
        Self { area, columns, rows, logs }
    }

    /// Which columns of the grid a place lies between.
    fn between_columns(&self, x: f64) -> Between {
        Between::new((x - self.area.x0) / LIGHT_GRID_MM, self.columns)
    }

    /// The grid's columns at a height.
    fn along_row(&self, y: f64, logs: &mut Vec<[f64; 3]>) {
        let rows = Between::new((y - self.area.y0) / LIGHT_GRID_MM, self.rows);
        let (upper, lower) = self.logs[rows.first * self.columns..].split_at(self.columns);
        logs.clear();
        logs.extend(upper.iter().zip(lower).map(|(upper, lower)| rows.mean(upper, lower)));
    }
}

/// A place between two neighbours of a grid.
#[derive(Clone, Copy)]
struct Between {
    first: usize,
    /// Share of the second.
    share: f64,
}

impl Between {
    /// Nearest to a place, in steps of the grid.
    fn new(place: f64, count: usize) -> Self {
        let place = place.clamp(0.0, (count - 2) as f64);
        Self { first: place as usize, share: place.fract() }
    }

    /// What a row of the grid holds there.
    #[inline]
    fn of(&self, row: &[[f64; 3]]) -> [f64; 3] {
        self.mean(&row[self.first], &row[self.first + 1])
    }

    #[inline]
    fn mean(&self, first: &[f64; 3], second: &[f64; 3]) -> [f64; 3] {
        std::array::from_fn(|k| first[k] * (1.0 - self.share) + second[k] * self.share)
    }
}
