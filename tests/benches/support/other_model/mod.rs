//! A second model of tanks and their keepers, built otherwise than the one that the forecast follows.
//!
//! What it is for: histories that owe nothing to the forecast's own equations and priors. It differs on
//! purpose: biomass that grows by yields after a lag (Baranyi & Roberts 1994), warmth by
//! cardinal temperatures (Rosso et al. 1993), Haldane inhibition by free ammonia and free nitrous acid
//! (Andrews 1968; Anthonisen et al. 1976), rates that wander for weeks by 5 to 25 %, keepers of many habits.
//! (These sources from memory.) Ranges are those of the literature; start-up times without seeding were
//! brought to the published 20 to 45 days and nothing was tuned to other histories.
//!
//! Everything is drawn from the seed: the same seed gives the same history.

mod biology;
mod course;
mod diary;
mod draw;
mod files;
mod keeper;
mod kit;
mod proof;

pub use course::{Judged, follow, start_up};
pub use files::write;
