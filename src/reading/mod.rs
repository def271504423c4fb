//! A reading: one value of one analyte with its interval, however it was obtained.
//!
//! The image side makes readings, the keeper types them; the log keeps them and the cycle judges
//! them. Neither of the latter ever sees a pixel.

pub mod sighting;

pub use sighting::{Evidence, Sighting};

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use crate::terms::{Analyte, Flag};

/// How a reading's numbers are to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// A value with an interval.
    Read,
    /// At or past the end of the chart: only a lower bound is known.
    AboveRange,
    /// Not told apart from the blank: only an upper bound is known.
    BelowDetection,
    /// No number can be given.
    Refused,
}

/// One dated value of one analyte, in the analyte's default unit.
///
/// `low` and `high` bound a 95 % interval where they are known. With `AboveRange`, `value` is
/// `None` and `low` is what it certainly exceeds; with `BelowDetection`, `value` is 0 and `high` is
/// the bound. `Refused` never becomes a `Measurement`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// What was measured.
    pub analyte: Analyte,
    /// How the numbers are to be taken.
    pub status: Status,
    /// Best estimate, default unit of the analyte.
    pub value: Option<f64>,
    /// Lower end of the 95 % interval, default unit.
    pub low: Option<f64>,
    /// Upper end of the 95 % interval, default unit.
    pub high: Option<f64>,
    /// When the water was sampled or the photo taken.
    pub taken_at: DateTime<FixedOffset>,
    /// Doubts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub flags: Vec<Flag>,
}
