//! Plane-to-plane projection: exact from four points, least squares from more, robust to blunders.

use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};

/// A point in millimetres or pixels, as the context says.
pub type Point = (f64, f64);

/// A projective map from one plane to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography {
    matrix: Matrix3<f64>,
}

/// Residual at which a point's weight begins to fall (Huber), in units of the robust scale.
const HUBER_TUNING: f64 = 1.5;
/// The residual scale is never taken below this, in target units: rounding must not decide.
const SMALLEST_SCALE: f64 = 0.02;
const ROBUST_ROUNDS: usize = 12;

impl Homography {
    /// The map whose matrix is given, or `None` if it cannot be inverted.
    pub fn from_matrix(matrix: Matrix3<f64>) -> Option<Self> {
        let scaled = matrix / matrix.norm();
        (scaled.iter().all(|x| x.is_finite()) && scaled.determinant().abs() > 1e-15)
            .then_some(Self { matrix: scaled })
    }

    /// Weighted least squares over at least four pairs (direct linear transform in normalised
    /// coordinates; Hartley, "In defense of the eight-point algorithm", 1997), polished by
    /// Gauss-Newton on the distances in the target plane with Huber weights.
    pub fn fit(pairs: &[(Point, Point)]) -> Option<Self> {
        let mut map = Self::direct(pairs)?;
        if pairs.len() > 4 {
            for _ in 0..ROBUST_ROUNDS {
                map = map.polished(pairs)?;
            }
        }
        Some(map)
    }

    fn direct(pairs: &[(Point, Point)]) -> Option<Self> {
        if pairs.len() < 4 {
            return None;
        }
        let source = normaliser(pairs.iter().map(|pair| pair.0));
        let target = normaliser(pairs.iter().map(|pair| pair.1));
        let mut design = DMatrix::<f64>::zeros((2 * pairs.len()).max(9), 9);
        for (index, (from, to)) in pairs.iter().enumerate() {
            let p = source * Vector3::new(from.0, from.1, 1.0);
            let q = target * Vector3::new(to.0, to.1, 1.0);
            for axis in 0..3 {
                design[(2 * index, axis)] = p[axis];
                design[(2 * index, 6 + axis)] = -q[0] * p[axis];
                design[(2 * index + 1, 3 + axis)] = p[axis];
                design[(2 * index + 1, 6 + axis)] = -q[1] * p[axis];
            }
        }
        let svd = design.svd(false, true);
        let smallest = svd.singular_values.imin();
        let v = svd.v_t?.row(smallest).transpose();
        let h = Matrix3::new(v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]);
        Self::from_matrix(target.try_inverse()? * h * source)
    }

    /// One Gauss-Newton step with Huber weights. The last matrix element is held at its value.
    fn polished(&self, pairs: &[(Point, Point)]) -> Option<Self> {
        let residuals: Vec<f64> = pairs.iter().map(|&(from, to)| distance(self.apply(from), to)).collect();
        let scale = (1.4826 * crate::math::stats::median(&residuals)?).max(SMALLEST_SCALE);
        let mut normal = SMatrix::<f64, 8, 8>::zeros();
        let mut gradient = SVector::<f64, 8>::zeros();
        let m = self.matrix / self.matrix[(2, 2)];
        for (&(from, to), &residual) in pairs.iter().zip(&residuals) {
            let weight = (HUBER_TUNING * scale / residual).min(1.0);
            let w = m[(2, 0)] * from.0 + m[(2, 1)] * from.1 + 1.0;
            let image = self.apply(from);
            let (x, y) = (from.0 / w, from.1 / w);
            let along_x = SVector::<f64, 8>::from([x, y, 1.0 / w, 0.0, 0.0, 0.0, -image.0 * x, -image.0 * y]);
            let along_y = SVector::<f64, 8>::from([0.0, 0.0, 0.0, x, y, 1.0 / w, -image.1 * x, -image.1 * y]);
            normal += weight * (along_x * along_x.transpose() + along_y * along_y.transpose());
            gradient += weight * (along_x * (to.0 - image.0) + along_y * (to.1 - image.1));
        }
        let step = scaled_solve(&normal, &gradient)?;
        let mut matrix = m;
        for (index, change) in step.iter().enumerate() {
            matrix[(index / 3, index % 3)] += change;
        }
        Self::from_matrix(matrix)
    }

    /// Maps a point; a point on the horizon comes out infinite.
    #[inline]
    pub fn apply(&self, point: Point) -> Point {
        let m = &self.matrix;
        let scale = (m[(2, 0)] * point.0 + m[(2, 1)] * point.1 + m[(2, 2)]).recip();
        (
            (m[(0, 0)] * point.0 + m[(0, 1)] * point.1 + m[(0, 2)]) * scale,
            (m[(1, 0)] * point.0 + m[(1, 1)] * point.1 + m[(1, 2)]) * scale,
        )
    }

    /// The map back.
    pub fn inverse(&self) -> Option<Self> {
        Self::from_matrix(self.matrix.try_inverse()?)
    }

    /// Area scale at a point, signed: negative where the map mirrors.
    pub fn jacobian(&self, point: Point) -> f64 {
        let m = &self.matrix;
        let w = m[(2, 0)] * point.0 + m[(2, 1)] * point.1 + m[(2, 2)];
        m.determinant() / (w * w * w)
    }
}

/// Distance between two points.
pub fn distance(a: Point, b: Point) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// Solves a symmetric system after scaling its diagonal to one.
fn scaled_solve(normal: &SMatrix<f64, 8, 8>, gradient: &SVector<f64, 8>) -> Option<SVector<f64, 8>> {
    let scale = normal.diagonal().map(|d| 1.0 / d.max(f64::MIN_POSITIVE).sqrt());
    let scaling = SMatrix::<f64, 8, 8>::from_diagonal(&scale);
    let solved = (scaling * normal * scaling).cholesky()?.solve(&(scaling * gradient));
    Some(scaling * solved)
}

/// The similarity that brings points to centroid zero and mean distance root two.
fn normaliser(points: impl Iterator<Item = Point> + Clone) -> Matrix3<f64> {
    let count = points.clone().count() as f64;
    let (sum_x, sum_y) = points.clone().fold((0.0, 0.0), |sum, p| (sum.0 + p.0, sum.1 + p.1));
    let centre = (sum_x / count, sum_y / count);
    let mean = points.map(|p| distance(p, centre)).sum::<f64>() / count;
    let s = std::f64::consts::SQRT_2 / mean.max(f64::MIN_POSITIVE);
    Matrix3::new(s, 0.0, -s * centre.0, 0.0, s, -s * centre.1, 0.0, 0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn tilted() -> Homography {
        Homography::from_matrix(Matrix3::new(8.0, -1.5, 120.0, 1.1, 7.2, 60.0, 4e-4, -7e-4, 1.0)).unwrap()
    }

    fn grid() -> Vec<Point> {
        (0..16).map(|k| (f64::from(k % 4) * 40.0 + 5.0, f64::from(k / 4) * 25.0 + 5.0)).collect()
    }

    #[test]
    fn four_exact_pairs_give_the_map_back() {
        let map = tilted();
        let corners = [(5.0, 5.0), (145.0, 5.0), (145.0, 95.0), (5.0, 95.0)];
        let fitted = Homography::fit(&corners.map(|p| (p, map.apply(p)))).unwrap();
        for p in grid() {
            assert!(distance(fitted.apply(p), map.apply(p)) < 1e-7);
        }
    }

    #[test]
    fn one_blunder_among_sixteen_points_barely_moves_the_map() {
        let map = tilted();
        let mut pairs: Vec<_> = grid().into_iter().map(|p| (p, map.apply(p))).collect();
        pairs[6].1.0 += 15.0;
        let fitted = Homography::fit(&pairs).unwrap();
        let worst = grid().into_iter().map(|p| distance(fitted.apply(p), map.apply(p))).fold(0.0, f64::max);
        assert!(worst < 0.1, "moved by {worst} px");
    }

    #[test]
    fn points_on_one_line_give_no_map() {
        let pairs: Vec<_> = (0..6).map(|k| ((f64::from(k), 0.0), (f64::from(k), 0.0))).collect();
        assert_eq!(Homography::fit(&pairs), None);
    }

    proptest! {
        #[test]
        fn the_inverse_undoes_the_map(x in 0.0..150.0_f64, y in 0.0..100.0_f64) {
            let map = tilted();
            let back = map.inverse().unwrap().apply(map.apply((x, y)));
            assert_relative_eq!(back.0, x, epsilon = 1e-8);
            assert_relative_eq!(back.1, y, epsilon = 1e-8);
        }
    }
}
