//! A chart's history: what was made or added when, from which photos, and what it gained.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use super::quality::Quality;
use crate::terms::Analyte;

/// How a revision came to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Made anew from photos.
    Made,
    /// A photo of a standard was added.
    Added,
}

/// A photo that took part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Source {
    /// The file, as given.
    pub photo: String,
    /// Hash of its content, the same whatever its name or metadata.
    pub hash: String,
}

/// What an addition changed for one analyte.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gain {
    /// Which analyte.
    pub analyte: Analyte,
    /// Quality before.
    pub before: Quality,
    /// Quality after.
    pub after: Quality,
}

/// One revision of a chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Revision {
    /// Its number, from 1; it goes on when a chart is made anew under its name.
    pub revision: u32,
    /// When, with the keeper's offset.
    pub at: DateTime<FixedOffset>,
    /// How.
    pub step: Step,
    /// From which photos.
    pub photos: Vec<Source>,
    /// What it changed; empty for a chart made anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gains: Vec<Gain>,
}

/// Number of the present revision; 1 for files without a history.
pub fn latest(history: &[Revision]) -> u32 {
    history.last().map_or(1, |revision| revision.revision)
}
