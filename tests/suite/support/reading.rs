//! One rendered photo read against a shipped chart, and how two readings of one scene compare.

use std::path::{Path, PathBuf};

use image::RgbImage;
use tintwell::chart::{Chart, shipped};
use tintwell::photo::{Encoding, Photo};
use tintwell::pipeline::{self, Opened, Refusal};
use tintwell::reading::{Sighting, Status};
use tintwell::terms::Flag;

/// A file of the rendered photos.
pub fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos").join(name)
}

/// The shipped chart of this name.
pub fn chart(name: &str) -> Chart {
    shipped::find(name).expect("a shipped chart").expect("a sound chart")
}

/// Reads the bytes of a file.
pub fn read_bytes(bytes: &[u8], chart: &Chart) -> Sighting {
    match pipeline::open(bytes) {
        Ok(opened) => read_scale(opened, chart, 0),
        Err(error) => refused(&error.into(), chart),
    }
}

/// Reads an opened photo: its first window, the first sample in it.
pub fn read(photo: Photo, chart: &Chart) -> Sighting {
    read_scale(photo, chart, 0)
}

/// Reads an opened photo: its first window, the sample for this scale of the chart.
pub fn read_scale(photo: impl Into<Opened>, chart: &Chart, scale: usize) -> Sighting {
    match pipeline::look(photo) {
        Ok(view) => pipeline::read_window(&view, view.card.layout.windows[0], chart).remove(scale),
        Err(refusal) => refused(&refusal, chart),
    }
}

/// The photo with other pixels, which mean light as sRGB does.
pub fn with_pixels(photo: &Photo, pixels: RgbImage) -> Photo {
    Photo { pixels: pixels.into(), encoding: Encoding::srgb(), ..photo.clone() }
}

fn refused(refusal: &Refusal, chart: &Chart) -> Sighting {
    Sighting::refused(None, Some(chart.name.clone()), refusal.to_string(), Default::default())
}

/// What became of a reading when its photo was harmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// Within the interval of the sound photo.
    Same,
    /// Outside it, but not by a step; no more warnings than before.
    Moved,
    /// A number with more warnings than before.
    Flagged,
    /// No number.
    Refused,
    /// More than a step outside the sound photo's interval, without another warning.
    Wrong,
}

impl Fate {
    /// Compares the reading of a harmed photo with that of the sound one.
    pub fn of(harmed: &Sighting, sound: &Sighting, chart: &Chart) -> Self {
        let (low, high) = bounds(sound);
        Self::against(harmed, (low, high), &sound.flags, chart)
    }

    /// Compares a reading with an interval that it should lie in.
    pub fn against(harmed: &Sighting, (low, high): (f64, f64), known: &[Flag], chart: &Chart) -> Self {
        if harmed.status == Status::Refused {
            return Self::Refused;
        }
        if harmed.flags.iter().any(|flag| !known.contains(flag)) {
            return Self::Flagged;
        }
        let (value, certain) = match harmed.status {
            Status::AboveRange => (harmed.low.unwrap(), harmed.low.unwrap()),
            Status::BelowDetection => (0.0, 0.0),
            _ => (harmed.value.unwrap(), harmed.value.unwrap()),
        };
        let step = step_at(chart, value);
        if value < low - step || certain > high + step {
            Self::Wrong
        } else if value < low || certain > high {
            Self::Moved
        } else {
            Self::Same
        }
    }
}

/// Interval of a reading; beyond the chart it has no upper end.
pub fn bounds(sighting: &Sighting) -> (f64, f64) {
    (sighting.low.unwrap_or(0.0), sighting.high.unwrap_or(f64::INFINITY))
}

/// The step of the chart at a value.
pub fn step_at(chart: &Chart, value: f64) -> f64 {
    step_of(chart, 0, value)
}

/// The step of one of the chart's scales at a value.
pub fn step_of(chart: &Chart, scale: usize, value: f64) -> f64 {
    chart.scales[scale].ruler(chart.form).expect("a sound scale").path.step_at(value)
}
