//! How far a dye's light may differ from what the card's inks promise of it.
//!
//! The correction to the reference view is learnt from printing inks, and a dye answers differently to
//! a lamp's spectrum and a phone's filters: the more, the further the inks' hues had to be moved. Three
//! things differ. A channel's own band lies better or worse on the filter. A strong band's wing reaches
//! into the neighbouring channels, and how far depends on where their filters end. And each channel gets
//! a share of the others' light (the filters' wings, and the matrix by which a phone makes up for them):
//! what is left of it in the correction is small against bright light, but not against the little that
//! a strong dye leaves.
//!
//! The shares are those of greatest likelihood over simulated spectra: 100 sets of dyes and inks, three
//! phones, six lamps and 25 values each, corrected as here, shade, path and veil free as in a reading.

use super::matching::Circumstances;

/// What differs always, and in proportion to what the patches do not agree on.
const ALWAYS: f64 = 0.01;
const BY_RESIDUAL: f64 = 0.6;
/// In proportion to how far the patches' hues had to be moved (natural logarithm): a channel's own
/// coloured absorbance, as a share of it;
const OWN_BY_HUE_SHIFT: f64 = 0.6;
/// what the wings of the strongest channel's band do to the others, as a share of that band;
const WING_BY_HUE_SHIFT: f64 = 0.18;
/// and light of the brightest channel in the others, as a share of what they lack against it.
const LEAK_BY_HUE_SHIFT: f64 = 0.15;

/// Standard uncertainties of a dye's colour in a photo's light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metamerism {
    /// Of what a channel absorbs beyond the lightest one, relative.
    pub own: f64,
    /// Of every channel's absorbance, as a share of what the strongest absorbs beyond the lightest.
    pub wing: f64,
    /// Of every channel's light, as a share of what it lacks against the brightest.
    pub leak: f64,
}

impl Metamerism {
    /// That of a photo.
    pub fn of(circumstances: &Circumstances) -> Self {
        let Circumstances { residual, hue_shift, .. } = *circumstances;
        Self {
            own: ALWAYS.hypot(BY_RESIDUAL * residual).hypot(OWN_BY_HUE_SHIFT * hue_shift),
            wing: WING_BY_HUE_SHIFT * hue_shift,
            leak: LEAK_BY_HUE_SHIFT * hue_shift,
        }
    }
}
