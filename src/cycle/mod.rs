//! Where a tank stands, what is wrong, what to do, and when it will be ready.
//!
//! Takes a [`TankHistory`]; never reads a file, a clock or a pixel.

pub mod alkalinity;
pub mod ammonia;
pub mod balance;
pub mod criteria;
pub mod dosing;
pub mod faults;
pub mod forecast;
pub mod history;
pub mod kinetics;
pub mod oxygen;
pub mod proof;
pub mod readiness;
pub mod series;
pub mod stage;
pub mod stalls;
pub mod track;

pub use history::{Deed, TankHistory};

#[cfg(test)]
mod fixture;
