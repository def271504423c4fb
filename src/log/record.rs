//! What one line of the log says.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use crate::reading::Measurement;
use crate::terms::{Analyte, EventKind, TankFacts};

/// An entry's number, unique in its log and rising with each entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Id(pub u64);

impl Id {
    /// The largest number that every JSON reader keeps exactly (2^53 - 1).
    pub const MAX: Self = Self((1 << 53) - 1);
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Id {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.trim_start_matches('#')
            .parse()
            .map(Self)
            .map_err(|_| "an entry is named by its number: see the first column of `tintwell log`".to_owned())
    }
}

/// One entry with its number and the moment at which it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Its number.
    pub id: Id,
    /// When it was written into the log; not when the water was sampled.
    pub logged_at: DateTime<FixedOffset>,
    /// What it says.
    pub entry: Entry,
}

/// What a record says.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// A reading of one analyte.
    Reading(Reading),
    /// Something done to a tank.
    Event(Event),
    /// Facts of a tank; what is `None` leaves the facts told before as they are.
    Tank(TankFacts),
    /// A kit's answer to a solution of known concentration.
    Check(Check),
    /// Other contents for an earlier entry.
    Correction(Correction),
    /// An earlier entry no longer counts.
    Withdrawal(Verdict),
    /// A withdrawn entry counts again.
    Restoration(Verdict),
}

impl Entry {
    /// The word that stands for the kind in the file.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Reading(_) => "reading",
            Self::Event(_) => "event",
            Self::Tank(_) => "tank",
            Self::Check(_) => "check",
            Self::Correction(_) => "correction",
            Self::Withdrawal(_) => "withdrawal",
            Self::Restoration(_) => "restoration",
        }
    }

    /// The tank it is about, if it is about one.
    pub fn tank(&self) -> Option<&str> {
        match self {
            Self::Reading(reading) => Some(&reading.tank),
            Self::Event(event) => Some(&event.tank),
            Self::Tank(facts) => Some(&facts.tank),
            _ => None,
        }
    }

    /// When it happened, if it happened at a moment of its own.
    pub fn at(&self) -> Option<DateTime<FixedOffset>> {
        match self {
            Self::Reading(reading) => Some(reading.measurement.taken_at),
            Self::Event(event) => Some(event.at),
            Self::Check(check) => Some(check.at),
            _ => None,
        }
    }

    /// The earlier entry it refers to.
    pub const fn refers_to(&self) -> Option<Id> {
        match self {
            Self::Correction(correction) => Some(correction.of),
            Self::Withdrawal(verdict) | Self::Restoration(verdict) => Some(verdict.of),
            _ => None,
        }
    }
}

/// A reading of one tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The tank's name.
    pub tank: String,
    /// The value with its interval and time.
    pub measurement: Measurement,
    /// Where the value comes from.
    pub source: Source,
    /// The keeper's own words.
    pub note: String,
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// Measured in a photo.
    Photo(PhotoSource),
    /// Typed by the keeper.
    Hand {
        /// The value as it was typed, where it was converted.
        typed: Option<String>,
    },
    /// A row of a table.
    Csv {
        /// The table's file name, without its folder.
        file: String,
        /// The row's line in it, counted from 1.
        line: u64,
    },
}

impl Source {
    /// The word that stands for the source in the file.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Photo(_) => "photo",
            Self::Hand { .. } => "hand",
            Self::Csv { .. } => "csv",
        }
    }
}

/// The photo that a reading was measured in.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoSource {
    /// Its path as given when it was read.
    pub photo: String,
    /// What [`super::content_hash`] makes of the file: the same photo, whatever its name or metadata.
    pub hash: String,
    /// The chart it was compared with.
    pub chart: Option<String>,
    /// The measured liquid or pad.
    pub sample: Option<SampleBox>,
    /// How many readings of the photo were written together; the log fills this in. By it a photo is
    /// known again that was only partly written when a program was killed.
    pub parts: Option<u32>,
}

/// The measured liquid or pad in the pixels of the upright photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SampleBox {
    /// Left edge.
    pub x: u32,
    /// Upper edge.
    pub y: u32,
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

/// Something done to a tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// The tank's name.
    pub tank: String,
    /// What was done.
    pub kind: EventKind,
    /// How much, in the kind's unit.
    pub amount: Option<f64>,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The keeper's own words.
    pub note: String,
}

/// A kit's answer to a solution of known concentration.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// The chart that was checked.
    pub chart: String,
    /// What was measured.
    pub analyte: Analyte,
    /// The concentration of the solution, default unit.
    pub known: f64,
    /// What the kit read, default unit; `None` outside its range.
    pub value: Option<f64>,
    /// Lower end of the reading's 95 % interval, default unit.
    pub low: Option<f64>,
    /// Upper end, default unit.
    pub high: Option<f64>,
    /// When.
    pub at: DateTime<FixedOffset>,
}

/// Other contents for an earlier reading or event; what is `None` stays.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// The entry that is corrected.
    pub of: Id,
    /// What it says from now on.
    pub set: Change,
    /// Why, in the keeper's words.
    pub reason: String,
}

/// The fields a correction may change.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Another tank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tank: Option<String>,
    /// Another time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<FixedOffset>>,
    /// Another value of a reading; its interval goes with the old value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading: Option<Value>,
    /// Another kind or amount of an event.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event: Option<Amount>,
    /// Another note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// An analyte with a corrected value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// What was measured.
    pub analyte: Analyte,
    /// The value, default unit.
    pub value: f64,
}

/// A kind of event with a corrected amount.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Amount {
    /// What was done.
    pub kind: EventKind,
    /// How much, in the kind's unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount: Option<f64>,
}

/// That an earlier entry counts, or does not.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// The entry.
    pub of: Id,
    /// Why, in the keeper's words.
    pub reason: String,
}
