//! One of the card's windows: its vial is found and its strip traced once, however many charts are
//! tried on it.

use std::cell::OnceCell;

use super::{View, read_vial, strip};
use crate::card::layout::RectMm;
use crate::chart::{Chart, Form};
use crate::colour::MixedLight;
use crate::reading::Sighting;
use crate::sample::strip::Lying;
use crate::sample::{self, Sample, SampleError};

/// A window of the card in a photo.
pub struct Window<'v> {
    pub(super) view: &'v View,
    rect: RectMm,
    vial: OnceCell<Result<(Sample, MixedLight), SampleError>>,
    strip: OnceCell<Result<Lying, SampleError>>,
}

impl<'v> Window<'v> {
    /// The window at this place of the card.
    pub fn new(view: &'v View, rect: RectMm) -> Self {
        Self { view, rect, vial: OnceCell::new(), strip: OnceCell::new() }
    }

    /// All windows of the card, from the left.
    pub fn all(view: &'v View) -> Vec<Self> {
        view.card.layout.windows.iter().map(|&rect| Self::new(view, rect)).collect()
    }

    /// The vial before it, and the mixed light at it.
    ///
    /// # Errors
    /// There is no vial, or it cannot be measured.
    pub fn vial(&self) -> Result<&(Sample, MixedLight), &SampleError> {
        let find = || {
            let sample = sample::find_vial(&self.view.photo, &self.view.card, &self.view.light, self.rect)?;
            let mixed = MixedLight::new(&self.view.light, sample.beside);
            Ok((sample, mixed))
        };
        self.vial.get_or_init(find).as_ref()
    }

    /// The strip in it, traced.
    ///
    /// # Errors
    /// There is no strip.
    pub fn strip(&self) -> Result<&Lying, &SampleError> {
        let View { photo, card, light, .. } = self.view;
        self.strip.get_or_init(|| sample::trace_strip(photo, card, light, self.rect)).as_ref()
    }

    /// Whether nothing stands before it or beside it.
    pub fn has_no_vial(&self) -> bool {
        self.vial() == Err(&SampleError::Empty)
    }

    /// Whether there is neither a vial nor, where one is looked for, a strip.
    pub fn is_empty_for(&self, form: Form) -> bool {
        let has_no_strip = || self.strip().is_err_and(|error| *error == SampleError::NoStrip);
        self.has_no_vial() && (form == Form::Vial || has_no_strip())
    }

    /// Reads whatever kind of sample the chart is for: one sighting for a vial, one for each pad of a
    /// strip from the dipped end. What gives no number comes back as refused.
    pub fn read(&self, chart: &Chart) -> Vec<Sighting> {
        match chart.form {
            Form::Vial => vec![read_vial(self, chart)],
            Form::Strip => strip::read(self, chart),
        }
    }
}
