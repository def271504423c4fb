//! Dark quadrilaterals: where a tag might be.

use image::GrayImage;
use imageproc::contours::{BorderType, find_contours_with_threshold};
use imageproc::geometry::convex_hull;
use imageproc::point::Point as PixelPoint;

use super::grey::GreyImage;
use super::homography::{Point, distance};

/// Shortest side of a tag that can still be decoded, in grey pixels: eight modules of 1.5 pixels.
const SMALLEST_SIDE: f64 = 12.0;
/// A pixel is dark when it is below this share of the mean around it.
const DARK_SHARE: f64 = 0.72;
/// The least part of the convex hull that the quadrilateral must cover.
const LEAST_COVER: f64 = 0.82;
/// No tag on a card seen at up to 40 degrees has sides of more different length.
const GREATEST_SIDE_RATIO: f64 = 3.0;

/// Four corners in grey pixels, in the order in which they are met going round.
pub type Quad = [Point; 4];

/// Dark quadrilaterals under a threshold relative to the mean of a square of `radius` around.
pub fn dark_quads(grey: &GreyImage, radius: usize) -> Vec<Quad> {
    let mask = dark_mask(grey, radius);
    find_contours_with_threshold::<i32>(&mask, 127)
        .into_iter()
        .filter(|contour| contour.border_type == BorderType::Outer && contour.points.len() >= 40)
        .filter_map(|contour| quad_of(&contour.points))
        .collect()
}

/// White where the picture is dark against the mean of what lies around, as far as it goes.
fn dark_mask(grey: &GreyImage, radius: usize) -> GrayImage {
    let (width, height) = (grey.width, grey.height);
    let row = |y: usize| &grey.values[y * width..][..width];
    // Of each column the sum over the rows around, and of all columns up to each. Single values are known to
    // fewer digits by so much that these sums are exact: what was added can be taken off again.
    let (mut columns, mut sums) = (vec![0.0_f64; width], vec![0.0_f64; width + 1]);
    let add = |columns: &mut [f64], row: &[f32], sign: f64| {
        columns.iter_mut().zip(row).for_each(|(sum, &value)| *sum += sign * f64::from(value));
    };
    (0..radius.min(height)).for_each(|y| add(&mut columns, row(y), 1.0));
    let mut mask = vec![0; width * height];
    for (y, own) in mask.chunks_exact_mut(width.max(1)).enumerate() {
        if y + radius < height {
            add(&mut columns, row(y + radius), 1.0);
        }
        if y > radius {
            add(&mut columns, row(y - radius - 1), -1.0);
        }
        let mut sum = 0.0;
        for (before, column) in sums[1..].iter_mut().zip(&columns) {
            sum += column;
            *before = sum;
        }
        let rows = (y + radius + 1).min(height) - y.saturating_sub(radius);
        mark_dark(own, row(y), &sums, (radius, rows));
    }
    GrayImage::from_raw(width as u32, height as u32, mask).unwrap_or_default()
}

/// Marks a row's dark pixels, from the sums over all columns before each place of the rows around.
fn mark_dark(own: &mut [u8], row: &[f32], sums: &[f64], (radius, rows): (usize, usize)) {
    let width = own.len();
    let code = |value: f32, sum: f64, count: f64| {
        if f64::from(value) * count < DARK_SHARE * sum { 255 } else { 0 }
    };
    let edge = radius.min(width);
    let right_edge = width.saturating_sub(radius).max(edge);
    for x in (0..edge).chain(right_edge..width) {
        let (left, right) = (x.saturating_sub(radius), (x + radius + 1).min(width));
        own[x] = code(row[x], sums[right] - sums[left], (rows * (right - left)) as f64);
    }
    let count = (rows * (2 * radius + 1)) as f64;
    let inner = own[edge..right_edge].iter_mut().zip(&row[edge..right_edge]);
    let around = sums.iter().zip(sums.iter().skip(2 * radius + 1));
    for ((own, &value), (left, right)) in inner.zip(around) {
        *own = code(value, right - left, count);
    }
}

/// The quadrilateral that a contour draws, with its sides fitted to the contour; `None` if it is
/// no clean quadrilateral.
fn quad_of(contour: &[PixelPoint<i32>]) -> Option<Quad> {
    let hull: Vec<Point> = convex_hull(contour).iter().map(|p| (f64::from(p.x), f64::from(p.y))).collect();
    if hull.len() < 4 {
        return None;
    }
    let rough = widest_quad(&hull)?;
    if !plausible(&rough) || area(&rough) < LEAST_COVER * area(&hull) {
        return None;
    }
    let points: Vec<Point> = contour.iter().map(|p| (f64::from(p.x), f64::from(p.y))).collect();
    let fitted = fit_sides(&rough, &points).unwrap_or(rough);
    plausible(&fitted).then_some(fitted)
}

/// The hull's farthest two points, and on either side of their line the point farthest from it.
fn widest_quad(hull: &[Point]) -> Option<Quad> {
    let mut diagonal = (0, 0, 0.0);
    for i in 0..hull.len() {
        for j in i + 1..hull.len() {
            let length = distance(hull[i], hull[j]);
            if length > diagonal.2 {
                diagonal = (i, j, length);
            }
        }
    }
    let (a, c) = (hull[diagonal.0], hull[diagonal.1]);
    let offset = |p: &Point| (c.0 - a.0) * (p.1 - a.1) - (c.1 - a.1) * (p.0 - a.0);
    let right = hull.iter().copied().max_by(|p, q| offset(p).total_cmp(&offset(q)))?;
    let left = hull.iter().copied().min_by(|p, q| offset(p).total_cmp(&offset(q)))?;
    (offset(&right) > 0.0 && offset(&left) < 0.0).then_some([a, left, c, right])
}

fn plausible(quad: &Quad) -> bool {
    let sides: Vec<f64> = (0..4).map(|k| distance(quad[k], quad[(k + 1) % 4])).collect();
    let shortest = sides.iter().copied().fold(f64::INFINITY, f64::min);
    let longest = sides.iter().copied().fold(0.0, f64::max);
    shortest >= SMALLEST_SIDE && longest <= GREATEST_SIDE_RATIO * shortest
}

/// Unsigned area of a polygon (shoelace formula).
pub fn area(polygon: &[Point]) -> f64 {
    let next = polygon.iter().cycle().skip(1);
    polygon.iter().zip(next).map(|(p, q)| p.0 * q.1 - q.0 * p.1).sum::<f64>().abs() / 2.0
}

/// Fits a line to the contour points along each side and meets neighbouring lines.
fn fit_sides(quad: &Quad, points: &[Point]) -> Option<Quad> {
    let mut lines = Vec::with_capacity(4);
    for k in 0..4 {
        let (from, to) = (quad[k], quad[(k + 1) % 4]);
        let length = distance(from, to);
        let along = ((to.0 - from.0) / length, (to.1 - from.1) / length);
        let reach = (length * 0.08).max(2.0);
        let near: Vec<Point> = points
            .iter()
            .copied()
            .filter(|p| {
                let (dx, dy) = (p.0 - from.0, p.1 - from.1);
                let t = dx * along.0 + dy * along.1;
                t > 0.12 * length && t < 0.88 * length && (dx * along.1 - dy * along.0).abs() < reach
            })
            .collect();
        lines.push(Line::through(&near)?);
    }
    let corner = |k: usize| lines[(k + 3) % 4].meet(&lines[k]);
    Some([corner(0)?, corner(1)?, corner(2)?, corner(3)?])
}

/// A line as a point and a unit direction.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    point: Point,
    direction: Point,
}

impl Line {
    /// Total least squares through at least three points.
    pub fn through(points: &[Point]) -> Option<Self> {
        Self::weighted(points, |_| 1.0)
    }

    /// Total least squares with a weight for each index.
    pub fn weighted(points: &[Point], weight: impl Fn(usize) -> f64) -> Option<Self> {
        let total: f64 = (0..points.len()).map(&weight).sum();
        if points.len() < 3 || total <= 0.0 {
            return None;
        }
        let mean = points.iter().enumerate().fold((0.0, 0.0), |sum, (k, p)| {
            (sum.0 + weight(k) * p.0 / total, sum.1 + weight(k) * p.1 / total)
        });
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for (k, p) in points.iter().enumerate() {
            let (dx, dy) = (p.0 - mean.0, p.1 - mean.1);
            xx += weight(k) * dx * dx;
            xy += weight(k) * dx * dy;
            yy += weight(k) * dy * dy;
        }
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        Some(Self { point: mean, direction: (angle.cos(), angle.sin()) })
    }

    /// Signed distance of a point from the line.
    pub fn offset(&self, p: Point) -> f64 {
        (p.0 - self.point.0) * self.direction.1 - (p.1 - self.point.1) * self.direction.0
    }

    /// Where two lines cross; `None` if they are nearly parallel.
    pub fn meet(&self, other: &Self) -> Option<Point> {
        let cross = self.direction.0 * other.direction.1 - self.direction.1 * other.direction.0;
        if cross.abs() < 0.05 {
            return None;
        }
        let (dx, dy) = (other.point.0 - self.point.0, other.point.1 - self.point.1);
        let t = (dx * other.direction.1 - dy * other.direction.0) / cross;
        Some((self.point.0 + t * self.direction.0, self.point.1 + t * self.direction.1))
    }
}

#[cfg(test)]
mod tests {
    use image::{Rgb, RgbImage};
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64Mcg;

    use super::*;
    use crate::photo::Upright;

    #[test]
    fn what_is_dark_is_told_as_by_means_taken_one_by_one() {
        let mut random = Pcg64Mcg::seed_from_u64(8);
        let photo = RgbImage::from_fn(23, 17, |_, _| Rgb(random.random()));
        let grey = GreyImage::reduced(&Upright::from(photo), 1);
        for radius in [1, 3, 9, 40] {
            let mask = dark_mask(&grey, radius);
            for (x, y, pixel) in mask.enumerate_pixels() {
                let (x, y) = (x as usize, y as usize);
                let around = |at: usize, most: usize| at.saturating_sub(radius)..(at + radius + 1).min(most);
                let values: Vec<f64> = around(y, 17)
                    .flat_map(|y| around(x, 23).map(move |x| (x, y)))
                    .map(|(x, y)| f64::from(grey.at(x, y)))
                    .collect();
                let mean = values.iter().sum::<f64>() / values.len() as f64;
                let is_dark = f64::from(grey.at(x, y)) < DARK_SHARE * mean;
                assert_eq!(pixel.0[0] > 0, is_dark, "{x}, {y}, {radius}");
            }
        }
    }
}
