//! Append-only log of readings and events: one JSON object a line in `log.jsonl`.
//!
//! Writing: [`Log::at`]`(home)`, then [`Log::append`]`(&[Entry], now)` gives the new numbers once the
//! entries are safe on disk; [`Log::append_chosen`] writes only what is not there yet.
//! Reading: [`Log::load`] gives a [`Loaded`] with [`Loaded::live`], [`Loaded::tanks`] and
//! [`Loaded::facts`]; [`Log::load_tank`] keeps one tank's alone. `cli::history` makes of either the history
//! that `cycle` takes.
//! Corrections, withdrawals and restorations are records too: nothing in the file is ever changed.
//!
//! What is promised and what is not stands in `src/log/FORMAT.md`, with every field.

#[doc = include_str!("FORMAT.md")]
pub mod format {}

mod check;
mod content;
mod error;
mod fields;
pub mod import;
mod lines;
mod load;
mod numbers;
mod of_tank;
pub mod quantity;
pub mod record;
mod store;
pub mod table;
mod tail;
mod torn;
pub mod when;
pub mod wire;

pub use check::name as check_name;
pub use content::content_hash;
pub use error::LogError;
pub use load::{Live, Loaded, Problem};
pub use of_tank::TankLog;
pub use record::{Check, Entry, Event, Id, PhotoSource, Reading, Record, SampleBox, Source};
pub use store::{Appended, Log};
pub use torn::TornTail;

#[cfg(test)]
mod tests;
