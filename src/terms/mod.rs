//! Words that every stage may use: analytes, units, events, tank facts, flags, colour types.
//!
//! Nothing here does any work beyond parsing, printing and exact unit conversion.

pub mod analyte;
pub mod event;
pub mod flag;
pub mod range;
pub mod space;
pub mod stamp;
pub mod tank;
pub mod text;
pub mod unit;

pub use analyte::Analyte;
pub use event::EventKind;
pub use flag::Flag;
pub use tank::TankFacts;
pub use unit::Unit;
