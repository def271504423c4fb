//! What a keeper does to a tank.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// One kind of deed, with its amount's unit fixed by the kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// Ammonia added on purpose; the rise it makes, reckoned on the nominal volume.
    AmmoniaDose,
    /// Food given or left to rot.
    Food,
    /// Water replaced by tap water.
    WaterChange,
    /// Filter medium moved in from a running tank.
    MatureMedium,
    /// A bacterial starter poured in.
    BottledBacteria,
    /// Fish put in.
    FishAdded,
    /// The filter cleaned.
    FilterCleaned,
    /// Bicarbonate or another buffer added; the rise of alkalinity it makes.
    AlkalinityDose,
    /// Medicine given.
    Medicine,
}

impl EventKind {
    /// Every kind, in the order in which tables list them.
    pub const ALL: [Self; 9] = [
        Self::AmmoniaDose,
        Self::Food,
        Self::WaterChange,
        Self::MatureMedium,
        Self::BottledBacteria,
        Self::FishAdded,
        Self::FilterCleaned,
        Self::AlkalinityDose,
        Self::Medicine,
    ];

    /// The word used in files and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::AmmoniaDose => "ammonia_dose",
            Self::Food => "food",
            Self::WaterChange => "water_change",
            Self::MatureMedium => "mature_medium",
            Self::BottledBacteria => "bottled_bacteria",
            Self::FishAdded => "fish_added",
            Self::FilterCleaned => "filter_cleaned",
            Self::AlkalinityDose => "alkalinity_dose",
            Self::Medicine => "medicine",
        }
    }

    /// The unit of the amount, as files print it.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::AmmoniaDose => "mg/L NH3",
            Self::Food => "g",
            Self::WaterChange => "% of volume",
            Self::MatureMedium => "% of filter",
            Self::BottledBacteria => "mL",
            Self::FishAdded => "fish",
            Self::FilterCleaned | Self::Medicine => "times",
            Self::AlkalinityDose => "meq/L",
        }
    }
}

impl fmt::Display for EventKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// A word that names no kind of event.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "unknown event {0:?}: use one of ammonia_dose, food, water_change, mature_medium, bottled_bacteria, fish_added, filter_cleaned, alkalinity_dose, medicine"
)]
pub struct UnknownEvent(pub String);

impl FromStr for EventKind {
    type Err = UnknownEvent;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let word = text.trim().to_ascii_lowercase();
        Self::ALL.into_iter().find(|kind| kind.word() == word).ok_or_else(|| UnknownEvent(text.to_owned()))
    }
}
