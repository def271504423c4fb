//! Rows of numbers, each of them at four samples side by side: of the channels, or of the unknowns.
//!
//! Loops and no closures: a closure may be left out of line, and would then be compiled for the least of
//! all processors.

use std::ops::{Add, Div, Mul, Sub};

use fearless_simd::prelude::*;
use fearless_simd::{Simd, f64x4};

use super::LANES;

/// A row of numbers at four samples.
#[derive(Clone, Copy)]
pub struct Row<S: Simd, const N: usize>(pub [f64x4<S>; N]);

impl<S: Simd, const N: usize> Row<S, N> {
    /// The same at all samples.
    #[inline(always)]
    pub fn splat(simd: S, numbers: [f64; N]) -> Self {
        let mut row = Self([f64x4::splat(simd, 0.0); N]);
        for (own, number) in row.0.iter_mut().zip(numbers) {
            *own = f64x4::splat(simd, number);
        }
        row
    }

    /// From the numbers at each sample.
    #[inline(always)]
    pub fn lifted(simd: S, numbers: [[f64; LANES]; N]) -> Self {
        let mut row = Self([f64x4::splat(simd, 0.0); N]);
        for (own, four) in row.0.iter_mut().zip(numbers) {
            *own = four.simd_into(simd);
        }
        row
    }

    /// The numbers at each sample.
    #[inline(always)]
    pub fn laid_down(&self) -> [[f64; LANES]; N] {
        let mut numbers = [[0.0; LANES]; N];
        for (four, own) in numbers.iter_mut().zip(self.0) {
            *four = own.into();
        }
        numbers
    }

    #[inline(always)]
    pub fn sum(self) -> f64x4<S> {
        let mut sum = self.0[0];
        for &number in &self.0[1..] {
            sum += number;
        }
        sum
    }

    #[inline(always)]
    pub fn dot(self, other: Self) -> f64x4<S> {
        (self * other).sum()
    }

    #[inline(always)]
    pub fn squared(self) -> Self {
        self * self
    }

    /// The largest of all, at any sample, either way.
    #[inline(always)]
    pub fn largest(self) -> f64 {
        let mut largest = self.0[0].abs();
        for number in &self.0[1..] {
            largest = largest.max(number.abs());
        }
        let [a, b, c, d] = largest.into();
        a.max(b).max(c.max(d))
    }
}

macro_rules! side_by_side {
    ($operator:ident, $apply:ident) => {
        impl<S: Simd, const N: usize> $operator for Row<S, N> {
            type Output = Self;

            #[inline(always)]
            fn $apply(mut self, other: Self) -> Self {
                for (own, other) in self.0.iter_mut().zip(other.0) {
                    *own = own.$apply(other);
                }
                self
            }
        }

        impl<S: Simd, const N: usize> $operator<f64x4<S>> for Row<S, N> {
            type Output = Self;

            #[inline(always)]
            fn $apply(mut self, other: f64x4<S>) -> Self {
                for own in &mut self.0 {
                    *own = own.$apply(other);
                }
                self
            }
        }

        impl<S: Simd, const N: usize> $operator<f64> for Row<S, N> {
            type Output = Self;

            #[inline(always)]
            fn $apply(self, other: f64) -> Self {
                let other = f64x4::splat(self.0[0].simd, other);
                self.$apply(other)
            }
        }
    };
}

side_by_side!(Add, add);
side_by_side!(Sub, sub);
side_by_side!(Mul, mul);
side_by_side!(Div, div);
