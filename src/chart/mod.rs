//! A kit's chart: its colours at known values, as one printed card sees them.
//!
//! [`calibrate`](calibrate::calibrate) makes a [`Chart`] from photos of standards; [`Ruler::match_colour`] turns a sample's
//! colour into a value with its interval; [`control`] watches whether the kit keeps to it.

pub mod add;
mod bounds;
pub mod calibrate;
pub mod control;
pub mod file;
pub mod fit;
pub mod history;
pub mod kept;
pub mod leaflet;
mod likelihood;
pub mod matching;
pub mod metamerism;
pub mod nearest;
pub mod optics;
pub mod path;
pub mod quality;
pub mod response;
pub mod scale;
pub mod shipped;

pub use file::{Chart, ChartError, Form};
pub use leaflet::Leaflet;
pub use matching::{Circumstances, Match, Outcome};
pub use scale::{Ruler, Scale};
