//! Shape-preserving cubic interpolation (Fritsch and Carlson, SIAM J. Numer. Anal. 17:238, 1980, with
//! the weighted harmonic mean of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5:300, 1984).

/// A piecewise cubic that is monotone wherever its knots are.
#[derive(Debug, Clone, PartialEq)]
pub struct Pchip {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Pchip {
    /// Through the points; `None` unless there are at least two and `x` strictly increases.
    pub fn new(x: &[f64], y: &[f64]) -> Option<Self> {
        let increases = x.windows(2).all(|pair| pair[0] < pair[1]);
        if x.len() < 2 || x.len() != y.len() || !increases {
            return None;
        }
        Some(Self { x: x.to_vec(), y: y.to_vec(), slope: slopes(x, y) })
    }

    /// Value at `at`; beyond the ends the last piece goes on.
    pub fn at(&self, at: f64) -> f64 {
        let k = self.x.partition_point(|&knot| knot <= at).clamp(1, self.x.len() - 1) - 1;
        let h = self.x[k + 1] - self.x[k];
        let t = (at - self.x[k]) / h;
        let (t2, t3) = (t * t, t * t * t);
        (2.0 * t3 - 3.0 * t2 + 1.0) * self.y[k]
            + (t3 - 2.0 * t2 + t) * h * self.slope[k]
            + (3.0 * t2 - 2.0 * t3) * self.y[k + 1]
            + (t3 - t2) * h * self.slope[k + 1]
    }
}

fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let d: Vec<f64> = y.windows(2).zip(&h).map(|(pair, h)| (pair[1] - pair[0]) / h).collect();
    if n == 2 {
        return vec![d[0]; 2];
    }
    let mut slope = vec![0.0; n];
    for k in 1..n - 1 {
        if d[k - 1] * d[k] > 0.0 {
            let (w1, w2) = (2.0 * h[k] + h[k - 1], h[k] + 2.0 * h[k - 1]);
            slope[k] = (w1 + w2) / (w1 / d[k - 1] + w2 / d[k]);
        }
    }
    slope[0] = end_slope(h[0], h[1], d[0], d[1]);
    slope[n - 1] = end_slope(h[n - 2], h[n - 3], d[n - 2], d[n - 3]);
    slope
}

/// Three-point slope at an end, held to the shape of the data.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Values of scipy.interpolate.PchipInterpolator 1.17 for the same knots.
    #[test]
    fn values_agree_with_a_reference_library() {
        let curve = Pchip::new(&[0.0, 1.0, 2.5, 4.0, 7.0], &[0.0, 1.0, 1.2, 3.0, 3.5]).unwrap();
        for (x, y) in REFERENCE {
            assert_relative_eq!(curve.at(x), y, epsilon = 1e-12);
        }
    }

    const REFERENCE: [(f64, f64); 5] = include!("../../fixtures/check/pchip_reference.txt");

    #[test]
    fn knots_out_of_order_make_no_curve() {
        assert_eq!(Pchip::new(&[0.0, 0.0, 1.0], &[0.0, 1.0, 2.0]), None);
    }

    proptest! {
        #[test]
        fn increasing_knots_give_an_increasing_curve(steps in prop::collection::vec((0.1..3.0_f64, 0.0..2.0_f64), 3..8)) {
            let (mut x, mut y) = (vec![0.0], vec![0.0]);
            for (dx, dy) in steps {
                x.push(x.last().unwrap() + dx);
                y.push(y.last().unwrap() + dy);
            }
            let curve = Pchip::new(&x, &y).unwrap();
            let end = *x.last().unwrap();
            let values: Vec<f64> = (0..=200).map(|k| curve.at(end * f64::from(k) / 200.0)).collect();
            prop_assert!(values.windows(2).all(|pair| pair[1] >= pair[0] - 1e-9));
        }
    }
}
