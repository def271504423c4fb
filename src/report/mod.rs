//! What people and programs see.

mod canvas;
pub mod chart_gain;
pub mod chart_picture;
pub mod chart_quality;
pub mod control_chart;
mod document;
pub mod found;
pub mod json;
pub mod look;
pub mod measured;
pub mod page;
pub mod picture;
pub mod sheet;
pub mod sighting;
pub mod standards;
pub mod trend;
pub mod verdict;
pub mod verification;
