//! Standard solutions: how to mix them, how well each level is known, and standard addition.
//!
//! Comes in: an analyte, the wanted levels, a salt, and what scale, syringes and flasks there are. Goes
//! out: a [`Recipe`] with masses, volumes, the level that is really made, and its uncertainty propagated
//! as in the GUM (JCGM 100:2008). Limits: water is taken as free of the analyte, and solutions as
//! dilute, so that volumes add up.

pub mod addition;
pub mod buffer;

mod error;
mod recipe;
mod salt;
mod ware;

pub use error::StandardsError;
pub use recipe::{Level, Portion, Recipe, Request, Solution, Source, mix};
pub use salt::{Keeping, SALTS, Salt};
pub use ware::{Balance, Flask, Measure, Syringe, Ware};
