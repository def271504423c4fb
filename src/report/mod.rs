//! What people and programs see.

mod canvas;
pub mod chart_gain;
pub mod chart_picture;
pub mod chart_quality;
pub mod control_chart;
pub mod found;
pub mod json;
pub mod look;
pub mod page;
pub mod picture;
pub mod sighting;
pub mod standards;
pub mod verdict;
pub mod verification;
