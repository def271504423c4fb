//! Symmetric matrices of three rows, four side by side.

use fearless_simd::{Simd, f64x4};

use super::four::Channels;
use super::row::Row;

/// A symmetric matrix of three rows: xx, xy, xz, yy, yz, zz.
pub struct Symmetric<S: Simd>(pub [f64x4<S>; 6]);

impl<S: Simd> Symmetric<S> {
    #[inline(always)]
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

    #[inline(always)]
    pub fn determinant(&self, cofactors: &Self) -> f64x4<S> {
        self.0[0] * cofactors.0[0] + self.0[1] * cofactors.0[1] + self.0[2] * cofactors.0[2]
    }

    #[inline(always)]
    pub fn times(&self, Row([x, y, z]): Channels<S>) -> Channels<S> {
        let m = &self.0;
        Row([m[0] * x + m[1] * y + m[2] * z, m[1] * x + m[3] * y + m[4] * z, m[2] * x + m[4] * y + m[5] * z])
    }
}
