//! The reference card and its tag slips, ready for a printer, true to scale.
//!
//! A [`Sheet`] is a page in millimetres with what lies on it; it is written as PDF, SVG or PNG.
//! Text is drawn with strokes of our own, so that it prints the same everywhere.

mod draw;
pub mod glyphs;
mod pdf;
mod png;
mod scene;
mod sheet;
mod svg;

pub use png::{DPI_RANGE, PngError};
pub use scene::{Item, Rgb};
pub use sheet::{NamedSlip, Paper, PrintError, Sheet, card_sheet, slip_sheet};

#[cfg(test)]
mod tests;
