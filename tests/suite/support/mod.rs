//! What several of the tests share.

pub mod abuse;
pub mod cycles;
pub mod damage;
pub mod filters;
pub mod home;
pub mod light;
pub mod pads;
pub mod reading;
pub mod scene;
pub mod strips;
pub mod swatches;
pub mod truth;
pub mod vials;
