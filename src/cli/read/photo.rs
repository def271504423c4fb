//! One photo: opened, told whose it is, read, and drawn if a picture is asked for.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Result;

use super::known::Known;
use super::windows;
use crate::chart::Chart;
use crate::cli::identity::{self, Told};
use crate::cli::kits::Kits;
use crate::cli::slips::Slips;
use crate::cli::{Settings, pictures, thumbnail};
use crate::log::{SampleBox, content_hash};
use crate::photo::{self, CaptureTime};
use crate::pipeline::{self, Opened, Refusal, View};
use crate::reading::{Evidence, Sighting, Status};
use crate::report::picture;

/// One photo as it was read.
pub struct PhotoRead {
    /// Its file as given.
    pub name: String,
    /// Its contents' hash, if it could be read.
    pub hash: Option<String>,
    /// When it was taken.
    pub captured: CaptureTime,
    /// Its tank, if an option or a slip tells it.
    pub tank: Option<String>,
    /// Whether a slip lies at the tank's place and nothing tells the tank.
    pub is_tank_unclear: bool,
    /// What its slips told, in words.
    pub by_slips: Vec<String>,
    /// What was not heeded, and why.
    pub notes: Vec<String>,
    /// Charts that it was read with.
    pub charts: Vec<Arc<Chart>>,
    /// What each window shows, or one refusal of the whole.
    pub sightings: Vec<Sighting>,
    /// The samples, cut out small.
    samples: Vec<(SampleBox, Vec<u8>)>,
}

/// Reads photos with these charts and slips.
pub struct Reader<'a> {
    /// Charts by name.
    pub kits: &'a Kits<'a>,
    /// What slips stand for; `None` to take no notice of them.
    pub slips: Option<&'a Slips>,
}

impl Reader<'_> {
    /// Reads one photo, holds against it what is known beside it, and draws all that if a picture is asked
    /// for.
    ///
    /// # Errors
    /// The photo is older than its test, or the picture cannot be written.
    pub fn read_and_draw(
        &self,
        path: &Path,
        told: &Told,
        known: &Known,
        picture: Option<PathBuf>,
    ) -> Result<PhotoRead> {
        let (mut read, shown) = self.read(path, told, picture.is_some());
        known.hold_against(&mut read)?;
        match (picture, shown) {
            (Some(file), Some(shown)) => pictures::save(&picture::draw(&shown, &read.sightings), &file)?,
            (Some(_), None) => eprintln!("{}: no picture of it: the photo cannot be opened", read.name),
            (None, _) => {}
        }
        Ok(read)
    }

    /// Reads one photo; what cannot be read comes back as refused. Gives the photo, small, if it is to be
    /// shown.
    pub fn read(&self, path: &Path, told: &Told, keep: bool) -> (PhotoRead, Option<picture::Scaled>) {
        let mut read = PhotoRead::unread(path);
        let opened = photo::read_file(path).and_then(|bytes| {
            read.hash = Some(content_hash(&bytes));
            // A picture shows more than the card.
            if keep { photo::from_bytes(&bytes).map(Opened::from) } else { pipeline::open(&bytes) }
        });
        let mut shown = None;
        let view = opened.map_err(Refusal::from).and_then(|opened| {
            read.captured = opened.photo.captured;
            shown = keep.then(|| picture::Scaled::new(opened.photo.to_srgb()));
            pipeline::look(opened)
        });
        match view {
            Ok(view) => {
                self.read_view(&view, told, &mut read);
                // Of a photo without a tank nothing is kept.
                if read.tank.is_some() {
                    read.samples = samples(&view, &read.sightings);
                }
            }
            Err(refusal) => {
                read.tank = told.tank.as_ref().map(|(tank, _)| tank.clone());
                read.sightings = vec![refused(refusal.to_string(), Evidence::default())];
            }
        }
        (read, shown)
    }

    fn read_view(&self, view: &View, told: &Told, read: &mut PhotoRead) {
        let identity = match identity::identify(view, told, self.slips, self.kits) {
            Ok(identity) => identity,
            Err(error) => {
                read.sightings = vec![refused(error.to_string(), Evidence::default())];
                return;
            }
        };
        read.tank = identity.tank;
        read.is_tank_unclear = identity.is_tank_unclear;
        (read.by_slips, read.notes) = (identity.by_slips, identity.notes);
        if !identity.charts.is_empty() {
            windows::read_with(view, &identity.charts, read);
            read.charts = identity.charts.into_iter().flatten().collect();
            return;
        }
        match self.kits.own() {
            Ok(own) => {
                windows::read_with_any(view, own, read);
                read.charts = own.to_vec();
            }
            Err(why) => read.sightings = vec![refused(why, Evidence::default())],
        }
    }
}

impl PhotoRead {
    fn unread(path: &Path) -> Self {
        Self {
            name: path.display().to_string(),
            hash: None,
            captured: CaptureTime::Unknown,
            tank: None,
            is_tank_unclear: false,
            by_slips: Vec::new(),
            notes: Vec::new(),
            charts: Vec::new(),
            sightings: Vec::new(),
            samples: Vec::new(),
        }
    }

    /// Keeps the samples for the page.
    pub fn keep_samples(&self, settings: &Settings) {
        let Some(hash) = &self.hash else { return };
        self.samples.iter().for_each(|(sample, jpeg)| thumbnail::keep(settings, hash, *sample, jpeg));
    }
}

fn samples(view: &View, sightings: &[Sighting]) -> Vec<(SampleBox, Vec<u8>)> {
    let is_read = |sighting: &&Sighting| sighting.status != Status::Refused;
    let boxes = sightings.iter().filter(is_read).filter_map(sample_box);
    boxes.filter_map(|sample| Some((sample, thumbnail::cut(&view.photo, sample)?))).collect()
}

/// Where the sample was measured.
pub(super) fn sample_box(sighting: &Sighting) -> Option<SampleBox> {
    sighting.sample_box().map(|(x, y, width, height)| SampleBox { x, y, width, height })
}

pub(super) fn refused(reason: String, evidence: Evidence) -> Sighting {
    Sighting::refused(None, None, reason, evidence)
}
