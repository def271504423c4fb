//! The liquid's colour: robust over the middle of the column, reflections left out.

use nalgebra::{Matrix3, Vector3};

use super::column::Axis;
use super::raster::{Raster, relative};
use crate::math::stats;
use crate::terms::space::Relative;

/// Share of the vial's width about its axis that is looked at: further out the glass bends the view
/// and the way through the liquid gets short.
const CORE_SHARE: f64 = 0.64;
/// Share of the width over which the colour is averaged.
const MEAN_SHARE: f64 = 0.40;
/// A column of pixels this much brighter than the smooth course over the width mirrors something,
/// natural logarithm.
const GLARE_EXCESS: f64 = 0.05;
/// Fewer columns of pixels tell no course.
const LEAST_COLUMNS: usize = 8;

/// Colour of the liquid and how it was obtained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquid {
    /// Relative to bare paper.
    pub colour: Relative,
    /// Scatter about the smooth course, natural logarithm.
    pub spread: f64,
    /// Share of the looked-at liquid left out as reflection.
    pub glare: f64,
    /// Half the measured width, mm.
    pub half_width: f64,
}

/// Median colour of one column of pixels along the axis.
struct Stripe {
    /// Distance from the axis in half widths, -1 to 1.
    offset: f64,
    log: [f64; 3],
    clipped: f64,
}

/// Measures the liquid between two heights; `None` if reflections leave too little.
pub fn measure(raster: &Raster, axis: &Axis, width: f64, rows: (f64, f64)) -> Option<Liquid> {
    let stripes = stripes(raster, axis, width, rows);
    let all = stripes.len();
    let clear: Vec<Stripe> = stripes.into_iter().filter(|stripe| stripe.clipped < 0.25).collect();
    if clear.len() < LEAST_COLUMNS || clear.len() * 2 < all {
        return None;
    }
    let courses: [Course; 3] = [fit_course(&clear, 0)?, fit_course(&clear, 1)?, fit_course(&clear, 2)?];
    let is_clear = |stripe: &&Stripe| {
        let excess = (0..3).map(|k| stripe.log[k] - courses[k].at(stripe.offset));
        excess.fold(0.0, f64::max) < GLARE_EXCESS + 2.5 * courses[1].scatter
    };
    let kept: Vec<&Stripe> = clear.iter().filter(is_clear).collect();
    let reach = MEAN_SHARE / CORE_SHARE;
    let colour = std::array::from_fn(|k| courses[k].mean(reach));
    Some(Liquid {
        colour: relative(colour),
        spread: courses.iter().map(|course| course.scatter).sum::<f64>() / 3.0,
        glare: 1.0 - kept.len() as f64 / all as f64,
        half_width: width * MEAN_SHARE / 2.0,
    })
}

fn stripes(raster: &Raster, axis: &Axis, width: f64, (top, bottom): (f64, f64)) -> Vec<Stripe> {
    let half = CORE_SHARE * width / 2.0;
    let count = (2.0 * half / raster.step()).floor() as usize;
    let rows = raster.row_range(top, bottom);
    (0..count)
        .filter_map(|k| {
            let offset = 2.0 * (k as f64 + 0.5) / count as f64 - 1.0;
            let cells: Vec<(usize, usize)> = rows
                .clone()
                .filter_map(|row| {
                    let x = axis.x_at(raster.y(row as f64)) + offset * half;
                    let column = raster.column_of(x).round();
                    (column >= 0.0 && column < raster.columns() as f64).then_some((column as usize, row))
                })
                .collect();
            let logs: Vec<[f64; 3]> = cells.iter().filter_map(|&(c, r)| raster.log(c, r)).collect();
            let channel = |k: usize| stats::median(&logs.iter().map(|log| log[k]).collect::<Vec<_>>());
            let clipped = cells.iter().filter(|&&(c, r)| raster.is_clipped(c, r)).count();
            Some(Stripe {
                offset,
                log: [channel(0)?, channel(1)?, channel(2)?],
                clipped: clipped as f64 / cells.len() as f64,
            })
        })
        .collect()
}

/// A smooth course of one channel over the width: constant, slope and bend.
struct Course {
    coefficients: Vector3<f64>,
    scatter: f64,
}

impl Course {
    fn at(&self, offset: f64) -> f64 {
        self.coefficients.dot(&Vector3::new(1.0, offset, offset * offset))
    }

    /// Mean from `-reach` to `reach`.
    fn mean(&self, reach: f64) -> f64 {
        self.coefficients[0] + self.coefficients[2] * reach * reach / 3.0
    }
}

/// Robust quadratic. Reflections only brighten, so what lies above counts for less than what lies
/// below.
fn fit_course(stripes: &[Stripe], channel: usize) -> Option<Course> {
    let mut weights = vec![1.0; stripes.len()];
    let mut course = Course { coefficients: Vector3::zeros(), scatter: 0.0 };
    for _ in 0..15 {
        let mut normal = Matrix3::from_diagonal_element(1e-9);
        let mut right = Vector3::zeros();
        for (stripe, weight) in stripes.iter().zip(&weights) {
            let basis = Vector3::new(1.0, stripe.offset, stripe.offset * stripe.offset);
            normal += *weight * basis * basis.transpose();
            right += *weight * stripe.log[channel] * basis;
        }
        course.coefficients = normal.cholesky()?.solve(&right);
        let residuals: Vec<f64> =
            stripes.iter().map(|stripe| stripe.log[channel] - course.at(stripe.offset)).collect();
        let sizes: Vec<f64> = residuals.iter().map(|residual| residual.abs()).collect();
        course.scatter = 1.4826 * stats::median(&sizes)?;
        let scale = course.scatter.max(0.004);
        for (weight, residual) in weights.iter_mut().zip(&residuals) {
            let limit = if *residual > 0.0 { scale } else { 2.0 * scale };
            *weight = (limit / residual.abs().max(1e-12)).min(1.0).powi(2);
        }
    }
    Some(course)
}
