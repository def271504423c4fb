//! Weighted linear equations in threes, one for each channel, that name few of the unknowns each.
//!
//! Only the normal equations are laid out in full: a chart of twenty photos is fitted some eight hundred
//! times, and nine tenths of its design matrix would be zero.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// Added to the diagonal, so that unknowns that no equation names come out as none.
const RIDGE: f64 = 1e-9;

/// Three equations.
pub struct Equations {
    /// Up to three times: index of the first of three unknowns that they name, and the coefficients of these.
    pub terms: [Option<(usize, Matrix3<f64>)>; 3],
    pub right: Vector3<f64>,
    /// Inverse covariance of their errors.
    pub precision: Matrix3<f64>,
}

/// A system that is overdetermined.
pub struct System {
    pub unknowns: usize,
    pub equations: Vec<Equations>,
}

/// Its solution by least squares.
pub struct Solution {
    pub unknowns: DVector<f64>,
    /// Inverse covariance of the unknowns.
    pub precision: DMatrix<f64>,
}

impl System {
    /// `None` if they do not tell.
    pub fn solve(&self) -> Option<Solution> {
        let (precision, mut unknowns) = self.normal();
        precision.clone().cholesky()?.solve_mut(&mut unknowns);
        Some(Solution { unknowns, precision })
    }

    /// Weighted sum of squares that unknowns leave.
    pub fn cost(&self, unknowns: &DVector<f64>) -> f64 {
        self.equations.iter().map(|own| own.misfit(unknowns)).sum()
    }

    /// The normal equations.
    fn normal(&self) -> (DMatrix<f64>, DVector<f64>) {
        let mut matrix = DMatrix::from_diagonal_element(self.unknowns, self.unknowns, RIDGE);
        let mut right = DVector::zeros(self.unknowns);
        for own in &self.equations {
            for (row, left) in own.terms.iter().flatten() {
                let weighed = left.tr_mul(&own.precision);
                let mut rows = right.fixed_rows_mut::<3>(*row);
                rows += weighed * own.right;
                // What two unknowns share is the same either way: above the diagonal it is filled in at last.
                for (column, coefficients) in own.terms.iter().flatten().filter(|(column, _)| column <= row) {
                    let mut block = matrix.fixed_view_mut::<3, 3>(*row, *column);
                    block += weighed * coefficients;
                }
            }
        }
        matrix.fill_upper_triangle_with_lower_triangle();
        (matrix, right)
    }
}

impl Equations {
    fn misfit(&self, unknowns: &DVector<f64>) -> f64 {
        let gap = self.terms.iter().flatten().fold(-self.right, |sum, (first, coefficients)| {
            sum + coefficients * unknowns.fixed_rows::<3>(*first)
        });
        gap.dot(&(self.precision * gap))
    }
}
