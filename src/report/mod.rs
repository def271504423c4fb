//! What people and programs see.

pub mod chart_quality;
pub mod json;
pub mod sighting;
pub mod standards;
pub mod verification;
