//! Sub-pixel corners of a tag: lines through the half-way points of its four edges, in linear light.

use super::grey::sample_luminance;
use super::homography::{Homography, Point, distance};
use super::quads::{Line, Quad};
use crate::photo::Upright;

/// Places along an edge at which it is located.
const STATIONS: usize = 24;
/// Steps of a profile across the edge.
const PROFILE_STEPS: usize = 25;
/// Half the length of a profile, in modules: the black border and the bare margin are one each.
const REACH_MODULES: f64 = 0.9;
/// An edge must rise by at least this share of its own white level to count.
const LEAST_RISE: f64 = 0.25;
/// Most iterations, each starting from the corners of the one before.
const MOST_ROUNDS: usize = 4;
/// Corners that move by less than this are settled, pixels.
const SETTLED: f64 = 0.02;

/// Improves the corners of a tag of eight modules; `None` if too little of an edge can be seen.
pub fn refine_corners(photo: &Upright, rough: &Quad) -> Option<Quad> {
    let moved = |from: &Quad, to: &Quad| (0..4).map(|k| distance(from[k], to[k])).fold(0.0, f64::max);
    let mut quad = *rough;
    for _ in 0..MOST_ROUNDS {
        let refined = refine_once(photo, &quad)?;
        let step = moved(&quad, &refined);
        quad = refined;
        if step < SETTLED {
            break;
        }
    }
    (moved(rough, &quad) < 0.15 * distance(rough[0], rough[1])).then_some(quad)
}

fn refine_once(photo: &Upright, quad: &Quad) -> Option<Quad> {
    let unit = [(0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (0.0, 8.0)];
    let modules = Homography::fit(&std::array::from_fn::<_, 4, _>(|k| (unit[k], quad[k])))?;
    let mut lines = Vec::with_capacity(4);
    for side in 0..4 {
        let (from, to) = (unit[side], unit[(side + 1) % 4]);
        let points: Vec<Point> = (0..STATIONS)
            .filter_map(|station| {
                let t = 0.08 + 0.84 * station as f64 / (STATIONS - 1) as f64;
                let on_edge = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
                edge_point(photo, &modules, on_edge)
            })
            .collect();
        lines.push(robust_line(&points)?);
    }
    let corner = |k: usize| lines[(k + 3) % 4].meet(&lines[k]);
    Some([corner(0)?, corner(1)?, corner(2)?, corner(3)?])
}

/// The half-way point of the profile that crosses the border of the eight-module square at
/// `on_edge`, running from inside outwards.
fn edge_point(photo: &Upright, modules: &Homography, on_edge: Point) -> Option<Point> {
    let centre = (4.0, 4.0);
    let horizontal = on_edge.1 > 1e-9 && on_edge.1 < 8.0 - 1e-9;
    let outwards = if horizontal {
        ((on_edge.0 - centre.0).signum(), 0.0)
    } else {
        (0.0, (on_edge.1 - centre.1).signum())
    };
    let place = |step: f64| {
        let s = REACH_MODULES * (2.0 * step / (PROFILE_STEPS - 1) as f64 - 1.0);
        modules.apply((on_edge.0 + s * outwards.0, on_edge.1 + s * outwards.1))
    };
    let mut profile = [0.0; PROFILE_STEPS];
    for (step, value) in profile.iter_mut().enumerate() {
        let (x, y) = place(step as f64);
        *value = sample_luminance(photo, x, y)?;
    }
    half_way(&profile).map(place)
}

/// Index, with fraction, at which the profile first passes half way between its dark start and its
/// bright end; `None` without a clear rise.
fn half_way(profile: &[f64; PROFILE_STEPS]) -> Option<f64> {
    let plateau = PROFILE_STEPS / 5;
    let dark = profile[..plateau].iter().copied().fold(f64::INFINITY, f64::min);
    let bright = profile[PROFILE_STEPS - plateau..].iter().copied().fold(0.0, f64::max);
    if bright - dark < LEAST_RISE * bright {
        return None;
    }
    let level = (dark + bright) / 2.0;
    let middle = PROFILE_STEPS / 2;
    (1..PROFILE_STEPS)
        .filter(|&k| profile[k - 1] < level && profile[k] >= level)
        .map(|k| k as f64 - 1.0 + (level - profile[k - 1]) / (profile[k] - profile[k - 1]))
        .min_by(|a, b| (a - middle as f64).abs().total_cmp(&(b - middle as f64).abs()))
}

/// Line through the points, those far off it left out.
fn robust_line(points: &[Point]) -> Option<Line> {
    if points.len() < STATIONS / 3 {
        return None;
    }
    let mut line = Line::through(points)?;
    for _ in 0..4 {
        let offsets: Vec<f64> = points.iter().map(|&p| line.offset(p).abs()).collect();
        let limit = 2.5 * (1.4826 * crate::math::stats::median(&offsets)?).max(0.05);
        line = Line::weighted(points, |k| if offsets[k] <= limit { 1.0 } else { 0.0 })?;
    }
    Some(line)
}
