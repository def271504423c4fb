//! Where a tank stands, what is wrong, what to do, and when it will be ready.
//!
//! Takes a [`TankHistory`]; never reads a file, a clock or a pixel.

pub mod history;

pub use history::{Deed, TankHistory};
