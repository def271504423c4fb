//! Polynomial least squares.
//!
//! Solved by QR on abscissae centred and scaled to about -1..1, because powers of raw abscissae lose
//! all digits long before degree 5; the coefficients are then carried back exactly.

use nalgebra::{DMatrix, DVector};

/// A fitted polynomial, y = b0 + b1 x + b2 x^2 + ...
#[derive(Debug, Clone, PartialEq)]
pub struct Polynomial {
    /// Coefficients, constant term first.
    pub coefficients: Vec<f64>,
    /// Covariance of the coefficients; `None` without degrees of freedom.
    pub covariance: Option<DMatrix<f64>>,
    /// Residual standard deviation; `None` without degrees of freedom.
    pub residual_sd: Option<f64>,
    /// Share of the variance about the mean that the polynomial explains; `None` if there is none.
    pub r_squared: Option<f64>,
}

/// Why a fit is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RegressionError {
    /// The lists differ in length.
    #[error("{xs} abscissae stand beside {ys} ordinates: give one of each for every point")]
    Unpaired {
        /// Number of abscissae.
        xs: usize,
        /// Number of ordinates.
        ys: usize,
    },
    /// Too few distinct abscissae.
    #[error("{distinct} different abscissae cannot fix {terms} terms: add points at other values")]
    TooFewPoints {
        /// Different abscissae.
        distinct: usize,
        /// Terms to be found.
        terms: usize,
    },
    /// A value that is no number, or a weight that is not positive.
    #[error("a value is not a finite number, or a weight is not positive")]
    NotFinite,
}

/// Fits a polynomial of a degree to points.
///
/// # Errors
/// The points are unpaired, too few, or not finite.
pub fn polynomial(xs: &[f64], ys: &[f64], degree: usize) -> Result<Polynomial, RegressionError> {
    check_points(xs, ys, degree + 1)?;
    let scale = Scale::of(xs);
    let design = DMatrix::from_fn(xs.len(), degree + 1, |i, power| scale.apply(xs[i]).powi(power as i32));
    let back = scale.back(degree);
    let mean = ys.iter().sum::<f64>() / ys.len() as f64;
    let total = ys.iter().map(|y| (y - mean).powi(2)).sum();
    solve(&design, ys, &back, total)
}

/// Fits y = b1 x, a line through the origin; `r_squared` is about zero, not about the mean.
///
/// # Errors
/// The points are unpaired, missing, all at zero, or not finite.
pub fn through_origin(xs: &[f64], ys: &[f64]) -> Result<Polynomial, RegressionError> {
    check_points(xs, ys, 1)?;
    if xs.iter().all(|&x| x == 0.0) {
        return Err(RegressionError::TooFewPoints { distinct: 0, terms: 1 });
    }
    let total = ys.iter().map(|y| y * y).sum();
    solve(&DMatrix::from_column_slice(xs.len(), 1, xs), ys, &DMatrix::identity(1, 1), total)
}

/// Refuses points that cannot fix a number of terms.
pub(super) fn check_points(xs: &[f64], ys: &[f64], terms: usize) -> Result<(), RegressionError> {
    if xs.len() != ys.len() {
        return Err(RegressionError::Unpaired { xs: xs.len(), ys: ys.len() });
    }
    if !xs.iter().chain(ys).all(|value| value.is_finite()) {
        return Err(RegressionError::NotFinite);
    }
    let mut sorted = xs.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    if sorted.len() < terms {
        return Err(RegressionError::TooFewPoints { distinct: sorted.len(), terms });
    }
    Ok(())
}

/// Least squares of a design matrix; `back` carries the solution to the coefficients that are wanted.
fn solve(
    design: &DMatrix<f64>,
    ys: &[f64],
    back: &DMatrix<f64>,
    total: f64,
) -> Result<Polynomial, RegressionError> {
    let (points, terms) = design.shape();
    let y = DVector::from_column_slice(ys);
    let qr = design.clone().qr();
    let r = qr.r();
    let degenerate = RegressionError::TooFewPoints { distinct: points, terms };
    let found = r.solve_upper_triangular(&(qr.q().transpose() * &y)).ok_or(degenerate)?;
    let squares = (&y - design * &found).norm_squared();
    let variance = (points > terms).then(|| squares / (points - terms) as f64);
    let r_inverse = r.solve_upper_triangular(&DMatrix::identity(terms, terms)).ok_or(degenerate)?;
    let unit = back * &r_inverse * r_inverse.transpose() * back.transpose();
    Ok(Polynomial {
        coefficients: (back * found).iter().copied().collect(),
        covariance: variance.map(|variance| unit * variance),
        residual_sd: variance.map(f64::sqrt),
        r_squared: (total > 0.0).then(|| 1.0 - squares / total),
    })
}

impl Polynomial {
    /// Value at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.coefficients.iter().rev().fold(0.0, |sum, b| sum * x + b)
    }

    /// Standard error of a coefficient.
    pub fn standard_error(&self, term: usize) -> Option<f64> {
        let variance = self.covariance.as_ref()?.get((term, term))?;
        Some(variance.max(0.0).sqrt())
    }
}

/// Centre and half-width of the abscissae.
struct Scale {
    centre: f64,
    half: f64,
}

impl Scale {
    fn of(xs: &[f64]) -> Self {
        let (low, high) = xs.iter().fold((f64::MAX, f64::MIN), |(low, high), &x| (low.min(x), high.max(x)));
        let half = (high - low) / 2.0;
        Self { centre: (low + high) / 2.0, half: if half > 0.0 { half } else { 1.0 } }
    }

    fn apply(&self, x: f64) -> f64 {
        (x - self.centre) / self.half
    }

    /// Column j holds the raw coefficients of ((x - centre) / half)^j, by the binomial theorem.
    fn back(&self, degree: usize) -> DMatrix<f64> {
        DMatrix::from_fn(degree + 1, degree + 1, |i, j| {
            if i > j {
                return 0.0;
            }
            let binomial = (0..i).fold(1.0, |c, k| c * (j - k) as f64 / (k + 1) as f64);
            binomial * (-self.centre).powi((j - i) as i32) / self.half.powi(j as i32)
        })
    }
}

#[cfg(test)]
mod tests;
