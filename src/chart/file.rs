//! A chart's file: our own JSON, with everything needed to read without the photos.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::bounds;
use super::history::Revision;
use super::kept::{KeptPhoto, StandardPhoto};
use super::leaflet::Leaflet;
use super::optics::{self, Priors};
use super::scale::Scale;
use crate::colour::ReferenceView;
use crate::sample::StripForm;
use crate::terms::Analyte;
use crate::terms::stamp::{self, StampError};

/// What a chart's file says it is.
const FORMAT: &str = "tintwell chart";
/// Version of the file's layout that is written; earlier ones are read. Version 1 kept neither the
/// photos' patches nor the samples as measured, nor a history: such a chart cannot be added to.
const VERSION: u32 = 2;
/// No honest chart is larger.
const MAX_FILE_BYTES: u64 = 8 << 20;

/// What kind of test a chart is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// Coloured liquid in a glass vial.
    Vial,
    /// A dip strip with pads.
    Strip,
}

impl Form {
    /// What is known beforehand of how its samples look.
    pub const fn priors(self) -> Priors {
        match self {
            Self::Vial => optics::VIAL,
            Self::Strip => optics::PAD,
        }
    }
}

/// A kit's chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Chart {
    format: String,
    version: u32,
    /// Its name.
    pub name: String,
    /// What kind of test it is for.
    pub form: Form,
    /// Layout of the card it was made with.
    pub card_version: u8,
    /// Date on which it was made, `YYYY-MM-DD`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_on: Option<String>,
    /// Last day on which it should be used: the reagents' expiry, as the keeper gave it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<NaiveDate>,
    /// What the kit's leaflet says, as the keeper entered it.
    #[serde(default, skip_serializing_if = "Leaflet::is_empty")]
    pub leaflet: Leaflet,
    /// The strip's measures and pads; `None` for a vial.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strip: Option<StripForm>,
    /// The card as its photos show it.
    pub reference: ReferenceView,
    /// One scale for a vial, one a pad for a strip.
    pub scales: Vec<Scale>,
    /// What it was made from.
    pub standards: Vec<StandardPhoto>,
    /// The photos of these, as far as a fit needs them; empty in files of version 1.
    #[serde(default)]
    pub photos: Vec<KeptPhoto>,
    /// What was made and added when, oldest first; empty in files of version 1.
    #[serde(default)]
    pub history: Vec<Revision>,
}

/// Why a chart cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// No such chart.
    #[error(
        "there is no chart {name:?}: give the name of one of your charts, or the path of a chart file (make one with `tintwell calibrate`); known: {known}"
    )]
    NotFound {
        /// What was asked for.
        name: String,
        /// Names that would do.
        known: String,
    },
    /// No chart was named, and the user has none.
    #[error(
        "you have no chart of your own to try: make one with `tintwell calibrate`, or name one with --chart; known: {known}"
    )]
    NoneOwn {
        /// Names that would do.
        known: String,
    },
    /// The file cannot be read.
    #[error("{path}: cannot read the chart: {source}")]
    Unreadable {
        /// File.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file is no chart, or damaged.
    #[error(
        "{path}: this is not a usable chart file ({what}): restore it from a copy or make the chart anew with `tintwell calibrate`"
    )]
    Damaged {
        /// File.
        path: PathBuf,
        /// What is wrong.
        what: String,
    },
    /// The chart that was made cannot be right.
    #[error(
        "{path}: no chart was written, for it cannot be right ({what}): correct the values and uncertainties of its standards, or leave out the photo that brings this in"
    )]
    Senseless {
        /// File.
        path: PathBuf,
        /// What is wrong.
        what: String,
    },
    /// The file comes from a later version.
    #[error(
        "{path}: the chart was written by a later version of Tintwell (file version {found}, this one reads up to {VERSION}): update Tintwell"
    )]
    TooNew {
        /// File.
        path: PathBuf,
        /// Version found.
        found: u64,
    },
    /// The file cannot be written.
    #[error("{path}: cannot write the chart: {source}")]
    Unwritable {
        /// File.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
}

impl Chart {
    /// A chart of the present file version.
    pub(super) fn new(
        name: &str,
        form: Form,
        card_version: u8,
        reference: ReferenceView,
        scales: Vec<Scale>,
        (standards, photos): (Vec<StandardPhoto>, Vec<KeptPhoto>),
    ) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            name: name.to_owned(),
            form,
            card_version,
            made_on: None,
            expires: None,
            leaflet: Leaflet::default(),
            strip: None,
            reference,
            scales,
            standards,
            photos,
            history: Vec::new(),
        }
    }

    /// This chart with the fit of another one, and all its own facts.
    pub(super) fn with_fit_of(&self, other: Self) -> Self {
        Self {
            version: VERSION,
            reference: other.reference,
            scales: other.scales,
            standards: other.standards,
            photos: other.photos,
            ..self.clone()
        }
    }

    /// Reads a chart's file.
    ///
    /// # Errors
    /// The file cannot be read, is damaged, or comes from a later version.
    pub fn load(path: &Path) -> Result<Self, ChartError> {
        let unreadable = |source| ChartError::Unreadable { path: path.to_owned(), source };
        let size = std::fs::metadata(path).map_err(unreadable)?.len();
        if size > MAX_FILE_BYTES {
            return Err(ChartError::Damaged {
                path: path.to_owned(),
                what: format!("{size} bytes are too many"),
            });
        }
        Self::parse(&std::fs::read(path).map_err(unreadable)?, path)
    }

    /// Reads a chart from its text; `path` is for messages.
    ///
    /// # Errors
    /// As [`Chart::load`].
    pub fn parse(text: &[u8], path: &Path) -> Result<Self, ChartError> {
        let damaged = |what: String| ChartError::Damaged { path: path.to_owned(), what };
        let value = stamp::parse(text, FORMAT, u64::from(VERSION)).map_err(|error| match error {
            StampError::TooNew { found } => ChartError::TooNew { path: path.to_owned(), found },
            other => damaged(other.to_string()),
        })?;
        let chart: Self = serde_json::from_value(value).map_err(|error| damaged(error.to_string()))?;
        chart.check().map_err(damaged)?;
        Ok(chart)
    }

    fn check(&self) -> Result<(), String> {
        bounds::check(self)?;
        self.leaflet.check().map_err(|why| format!("leaflet: {why}"))?;
        self.check_strip()?;
        match self.scales.iter().position(|scale| scale.ruler(self.form).is_none()) {
            Some(k) => {
                let analyte = self.scales[k].analyte;
                Err(format!("scales[{k}]: no path leads through its levels of {analyte} with this response"))
            }
            None => Ok(()),
        }
    }

    /// A strip's chart has a sound form, and a scale for each of its pads in their order.
    fn check_strip(&self) -> Result<(), String> {
        let strip = match (self.form, &self.strip) {
            (Form::Vial, _) => return Ok(()),
            (Form::Strip, None) => {
                return Err(
                    "strip is missing: it is for a strip but does not give the strip's form".to_owned()
                );
            }
            (Form::Strip, Some(strip)) => strip,
        };
        strip.check().map_err(|why| format!("strip: {why}"))?;
        let pads = strip.pads.iter().map(|pad| pad.analyte);
        if pads.eq(self.scales.iter().map(|scale| scale.analyte)) {
            Ok(())
        } else {
            Err("scales are not those of strip.pads, in their order".to_owned())
        }
    }

    /// Writes the chart, whole or not at all.
    ///
    /// # Errors
    /// It could not be read again, or the file cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), ChartError> {
        self.check().map_err(|what| ChartError::Senseless { path: path.to_owned(), what })?;
        let unwritable = |source| ChartError::Unwritable { path: path.to_owned(), source };
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder).map_err(unwritable)?;
        let mut text = serde_json::to_string_pretty(self).map_err(|error| unwritable(error.into()))?;
        text.push('\n');
        let mut file = tempfile::NamedTempFile::new_in(folder).map_err(unwritable)?;
        std::io::Write::write_all(&mut file, text.as_bytes()).map_err(unwritable)?;
        file.as_file().sync_all().map_err(unwritable)?;
        file.persist(path).map_err(|error| unwritable(error.error))?;
        Ok(())
    }

    /// The scale of an analyte.
    pub fn scale(&self, analyte: Analyte) -> Option<&Scale> {
        self.scales.iter().find(|scale| scale.analyte == analyte)
    }
}
