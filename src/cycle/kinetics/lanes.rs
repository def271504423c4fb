//! Numbers that the integrator works on: one tank at a time, or several side by side.
//!
//! The scheme in [`step`](super::step) is written once over [`Real`]. With `f64` it is easy to test;
//! with [`Lanes`] the compiler keeps several trajectories in the vector registers, in single precision:
//! its rounding (6e-8) is nothing beside the scheme's error, and half the memory moves.

use std::ops::{Add, Div, Mul, Sub};

use wide::f32x4;

/// Trajectories that are integrated side by side.
pub const WIDTH: usize = 4;

/// What the integrator needs of a number.
pub trait Real:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self>
{
    /// The same value everywhere.
    fn splat(value: f64) -> Self;
    /// The larger of both, lane by lane.
    fn at_least(self, floor: Self) -> Self;
    /// The smaller of both, lane by lane.
    fn at_most(self, ceiling: Self) -> Self;
    /// Square root, lane by lane.
    fn sqrt(self) -> Self;
    /// Applies `f` to each lane.
    fn map(self, f: impl FnMut(f64) -> f64) -> Self;
}

impl Real for f64 {
    fn splat(value: f64) -> Self {
        value
    }

    fn at_least(self, floor: Self) -> Self {
        self.max(floor)
    }

    fn at_most(self, ceiling: Self) -> Self {
        self.min(ceiling)
    }

    fn sqrt(self) -> Self {
        self.sqrt()
    }

    fn map(self, mut f: impl FnMut(f64) -> f64) -> Self {
        f(self)
    }
}

/// Values of the same quantity in [`WIDTH`] trajectories.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(align(16))]
pub struct Lanes([f32; WIDTH]);

impl Default for Lanes {
    fn default() -> Self {
        Self([0.0; WIDTH])
    }
}

impl Lanes {
    /// One value for each lane.
    #[inline(always)]
    pub fn each(mut value: impl FnMut(usize) -> f64) -> Self {
        Self(std::array::from_fn(|lane| value(lane) as f32))
    }

    /// One value from each of the `sources`, which name a lane beside what holds it.
    #[inline(always)]
    pub fn gather(sources: [(&Self, usize); WIDTH]) -> Self {
        Self(sources.map(|(from, lane)| from.0[lane]))
    }

    /// The value in `lane`.
    #[inline(always)]
    pub fn get(self, lane: usize) -> f64 {
        f64::from(self.0[lane])
    }

    /// Puts `value` into `lane`.
    #[inline(always)]
    pub fn set(&mut self, lane: usize, value: f64) {
        self.0[lane] = value as f32;
    }
}

impl Real for Lanes {
    #[inline(always)]
    fn splat(value: f64) -> Self {
        Self([value as f32; WIDTH])
    }

    #[inline(always)]
    fn at_least(self, floor: Self) -> Self {
        Self(f32x4::new(self.0).fast_max(f32x4::new(floor.0)).to_array())
    }

    #[inline(always)]
    fn at_most(self, ceiling: Self) -> Self {
        Self(f32x4::new(self.0).fast_min(f32x4::new(ceiling.0)).to_array())
    }

    #[inline(always)]
    fn sqrt(self) -> Self {
        Self(f32x4::new(self.0).sqrt().to_array())
    }

    #[inline]
    fn map(self, mut f: impl FnMut(f64) -> f64) -> Self {
        Self(self.0.map(|value| f(f64::from(value)) as f32))
    }
}

macro_rules! lane_by_lane {
    ($($operator:ident, $method:ident);+ $(;)?) => {$(
        impl $operator for Lanes {
            type Output = Self;

            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Self(f32x4::new(self.0).$method(f32x4::new(other.0)).to_array())
            }
        }
    )+};
}

lane_by_lane! { Add, add; Sub, sub; Mul, mul; Div, div }

/// Defines a structure of numbers whose fields can also be reached by index.
///
/// The filter shrinks, jitters and resamples every field alike, while the chemistry names them.
macro_rules! numbers {
    ($(#[$meta:meta])* $vis:vis struct $name:ident { $($(#[$field_meta:meta])* $field:ident,)+ }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, Default, PartialEq)]
        $vis struct $name<T> { $($(#[$field_meta])* pub $field: T,)+ }

        impl<T: Copy> $name<T> {
            /// How many numbers this holds.
            pub const LEN: usize = Self::NAMES.len();

            /// Their names, in order of declaration.
            pub const NAMES: &'static [&'static str] = &[$(stringify!($field)),+];

            /// The numbers in order of declaration.
            pub fn to_array(self) -> [T; $name::<()>::LEN] {
                [$(self.$field),+]
            }

            /// Changes every field with `f`, which is told the field's index.
            #[inline]
            pub fn change_each(&mut self, mut f: impl FnMut(usize, T) -> T) {
                let mut index = 0;
                $(self.$field = f(index, self.$field); index += 1;)+
                let _ = index;
            }
        }

        impl $name<crate::cycle::kinetics::Lanes> {
            /// Takes one trajectory out.
            pub fn lane(&self, lane: usize) -> $name<f64> {
                $name { $($field: self.$field.get(lane)),+ }
            }

            /// Takes one trajectory from each of the `sources`, which name a lane beside what holds it.
            pub fn gather(sources: [(&Self, usize); $crate::cycle::kinetics::WIDTH]) -> Self {
                Self { $($field: $crate::cycle::kinetics::Lanes::gather(sources.map(|(from, lane)| (&from.$field, lane)))),+ }
            }

            /// Puts one trajectory in.
            pub fn set_lane(&mut self, lane: usize, values: &$name<f64>) {
                $(self.$field.set(lane, values.$field);)+
            }
        }
    };
}
pub(crate) use numbers;
