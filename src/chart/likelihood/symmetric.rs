//! Symmetric matrices of three rows, four side by side.

use wide::f64x4;

/// A symmetric matrix of three rows: xx, xy, xz, yy, yz, zz.
pub struct Symmetric(pub [f64x4; 6]);

impl Symmetric {
    pub fn cofactors(&self) -> Self {
        let [xx, xy, xz, yy, yz, zz] = self.0;
        Self([
            yy * zz - yz * yz,
            xz * yz - xy * zz,
            xy * yz - xz * yy,
            xx * zz - xz * xz,
            xy * xz - xx * yz,
            xx * yy - xy * xy,
        ])
    }

    pub fn determinant(&self, cofactors: &Self) -> f64x4 {
        self.0[0] * cofactors.0[0] + self.0[1] * cofactors.0[1] + self.0[2] * cofactors.0[2]
    }

    pub fn times(&self, [x, y, z]: [f64x4; 3]) -> [f64x4; 3] {
        let m = &self.0;
        [m[0] * x + m[1] * y + m[2] * z, m[1] * x + m[3] * y + m[4] * z, m[2] * x + m[4] * y + m[5] * z]
    }
}
