//! Where a tank stands, what is wrong, what to do, and when it will be ready.
//!
//! Takes a [`TankHistory`]; never reads a file, a clock or a pixel.

pub mod advice;
mod agreement;
pub mod alkalinity;
pub mod ammonia;
pub mod animals;
pub mod assessment;
pub mod balance;
pub mod capacity;
mod chance;
pub mod criteria;
pub mod danger;
pub mod dosing;
pub mod faults;
pub mod forecast;
pub mod history;
pub mod kinetics;
pub mod load;
pub mod oxygen;
pub mod plan;
pub mod proof;
pub mod readiness;
pub mod series;
mod silence;
pub mod stage;
pub mod stalls;
pub mod standing;
pub mod strike;
pub mod track;
pub mod window;

pub use assessment::{Assessment, assess};
pub use history::{Deed, TankHistory};

#[cfg(test)]
#[path = "../../tests/suite/support/cycles.rs"]
#[allow(dead_code)] // The suite uses the rest.
mod fixture;
