//! Reads one photo: the story of all image stages on one screen.
//!
//! [`look`] does what needs no chart: open, find the card, take the light off, measure patches and
//! sample. [`read_window`] compares what was seen with a chart.

mod choose;
mod strip;
mod window;

pub use choose::read_with_any;
pub use strip::MOTTLING_SHARE;
pub use window::Window;

use crate::card::layout::RectMm;
use crate::card::{self, CardError, CardView};
use crate::chart::matching::{Asked, typical_light};
use crate::chart::{Chart, Circumstances, Match, Outcome, Ruler, Scale};
use crate::colour::illumination::IlluminationError;
use crate::colour::{Correction, CorrectionError, Illumination, LampScore, MixedLight, PatchColours};
use crate::photo::{self, Photo, PhotoError};
use crate::reading::{Evidence, Sighting, Status};
use crate::sample::strip::Lying;
use crate::sample::{self, Around, Sample, SampleError, Veil};
use crate::terms::Flag;

/// Why a photo gives no number.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// The file.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// The card.
    #[error(transparent)]
    Card(#[from] CardError),
    /// The light on it.
    #[error(transparent)]
    Light(#[from] IlluminationError),
    /// Its colours.
    #[error(transparent)]
    Colour(#[from] CorrectionError),
    /// The sample before it.
    #[error(transparent)]
    Sample(#[from] SampleError),
    /// A black-and-white photo.
    #[error("the photo is black-and-white: switch off the phone's black-and-white mode or filter")]
    Monochrome,
    /// A colour that is none of the chart's.
    #[error(
        "the sample's colour is none of chart {chart:?} (it lies {distance:.0} units beside it; 2 is ordinary): check that this is the chart's kit, that all reagents went in and are not spoilt, or give another chart with --chart"
    )]
    OffPath {
        /// Name of the chart.
        chart: String,
        /// Distance, Oklab times 100.
        distance: f64,
    },
    /// A colour that is none of the chart's, as a veil would make it.
    #[error(
        "steam or a reflection seems to lie all over the sample: its colour is none of chart {chart:?}, but could be one behind a veil; wipe the glass, turn until nothing mirrors in the sample, and take the photo again"
    )]
    Veiled {
        /// Name of the chart.
        chart: String,
    },
    /// Several charts explain the colour.
    #[error("the colour alone does not tell which kit this is: give one of these with --chart: {candidates}")]
    ChartUnclear {
        /// Names of the charts.
        candidates: String,
    },
    /// No chart explains the colour.
    #[error(
        "no chart made with this version of the card has this colour (tried: {tried}): give the kit's own chart with --chart, and see what it says"
    )]
    NoChartFits {
        /// Names of the charts.
        tried: String,
    },
    /// The chart was made with the other card.
    #[error(
        "chart {chart:?} was made with version {made_with} of the card, the photo shows version {seen}: use the card that the chart was made with, or make a chart with this one"
    )]
    OtherCard {
        /// Name of the chart.
        chart: String,
        /// Version of the chart's card.
        made_with: u8,
        /// Version in the photo.
        seen: u8,
    },
}

/// A photo in which a card was found and its light understood.
#[derive(Debug)]
pub struct View {
    /// The photo.
    pub photo: Photo,
    /// The card in it.
    pub card: CardView,
    /// The light on the card.
    pub light: Illumination,
    /// The card's patches.
    pub patches: PatchColours,
}

/// A photo and, if its preview showed it, the card.
pub struct Opened {
    /// The photo, or the part of it under the card.
    pub photo: Photo,
    sketch: Option<card::Sketch>,
}

impl From<Photo> for Opened {
    fn from(photo: Photo) -> Self {
        Self { photo, sketch: None }
    }
}

/// Decodes as much of a photo as is measured: what lies under the card, if the preview shows it.
///
/// # Errors
/// The file is no photo that can be read.
pub fn open(bytes: &[u8]) -> Result<Opened, PhotoError> {
    let mut sketch = None;
    let photo = photo::part_from_bytes(bytes, |preview| {
        sketch = card::Sketch::of(preview);
        sketch.as_ref().map(|sketch| sketch.corners.clone())
    })?;
    Ok(Opened { photo, sketch })
}

/// Everything about a photo that needs no chart.
///
/// # Errors
/// The photo cannot be measured.
pub fn look(opened: impl Into<Opened>) -> Result<View, Refusal> {
    let Opened { photo, sketch } = opened.into();
    let card = match sketch {
        Some(sketch) => sketch.find(&photo.pixels)?,
        None => card::find(&photo.pixels)?,
    };
    if photo.is_monochrome {
        return Err(Refusal::Monochrome);
    }
    let light = Illumination::fit(&photo, &card)?;
    let patches = PatchColours::measure(&photo, &card, &light);
    Ok(View { photo, card, light, patches })
}

/// The vial in one of the card's windows, and the mixed light at it.
///
/// # Errors
/// There is no vial, or it cannot be measured.
pub fn vial_in(view: &View, window: RectMm) -> Result<(Sample, MixedLight), Refusal> {
    Window::new(view, window).vial().cloned().map_err(|error| error.clone().into())
}

/// Reads whatever kind of sample the chart is for in a window: one sighting for a vial, one for each
/// pad of a strip from the dipped end. What gives no number comes back as refused.
pub fn read_window(view: &View, window: RectMm, chart: &Chart) -> Vec<Sighting> {
    Window::new(view, window).read(chart)
}

/// Traces the strip in a window, and says what mixed light does to it.
///
/// # Errors
/// There is no strip.
pub fn strip_in(view: &View, window: RectMm) -> Result<(Lying, MixedLight), Refusal> {
    let lying = sample::trace_strip(&view.photo, &view.card, &view.light, window)?;
    Ok((lying, strip::mixed_light(view)))
}

/// Reads the vial in a window.
fn read_vial(window: &Window, chart: &Chart) -> Sighting {
    let view = window.view;
    let scale = &chart.scales[0];
    let mut evidence = card_evidence(view);
    let vial = window.vial().map_err(|error| Refusal::from(error.clone()));
    let outcome = vial.and_then(|(sample, mixed)| {
        let corner = |p: &crate::card::layout::PointMm| view.card.to_photo.apply((p.x, p.y));
        evidence.sample = sample.area.iter().map(corner).collect();
        let seen = Seen { sample, mixed, unevenness: 0.0 };
        let fitted = Fitted::new(view, chart)?;
        let compared = Compared::new(chart, scale, &fitted, &seen)?;
        conclude(view, chart, &fitted, &seen, &compared, &compared.matched(), &mut evidence)
    });
    match outcome {
        Ok(sighting) => Sighting { evidence, ..sighting },
        Err(refusal) => {
            Sighting::refused(Some(scale.analyte), Some(chart.name.clone()), refusal.to_string(), evidence)
        }
    }
}

/// What a chart makes of a photo as a whole.
struct Fitted {
    correction: Correction,
    lamp: LampScore,
}

impl Fitted {
    fn new(view: &View, chart: &Chart) -> Result<Self, Refusal> {
        let version = view.card.layout.version;
        if version != chart.card_version {
            return Err(Refusal::OtherCard {
                chart: chart.name.clone(),
                made_with: chart.card_version,
                seen: version,
            });
        }
        let correction = Correction::fit(&view.patches, &chart.reference.patches)?;
        Ok(Self { correction, lamp: chart.reference.score(&view.patches) })
    }
}

/// One sample and what may disturb its colour.
struct Seen<'a> {
    sample: &'a Sample,
    mixed: &'a MixedLight,
    /// Relative uncertainty from the sample's own scatter.
    unevenness: f64,
}

/// One sample before one scale of a chart.
struct Compared<'c> {
    scale: &'c Scale,
    ruler: &'c Ruler,
    asked: Asked<'c>,
}

impl<'c> Compared<'c> {
    fn new(chart: &'c Chart, scale: &'c Scale, fitted: &Fitted, seen: &Seen) -> Result<Self, Refusal> {
        let Seen { sample, mixed, unevenness } = *seen;
        let Fitted { correction, lamp } = fitted;
        let Some(ruler) = scale.ruler(chart.form) else {
            return Err(Refusal::OffPath { chart: chart.name.clone(), distance: f64::INFINITY });
        };
        let colour = correction.apply(sample.colour);
        let circumstances = Circumstances::of(correction, lamp, mixed, unevenness);
        let veil = sample.around.map(|around| match around {
            Around::Surface(surface) => Veil::over_liquid(colour, correction.apply(surface)),
            Around::Strip(strip) => Veil::over_pad(colour, strip),
        });
        Ok(Self { scale, ruler, asked: Asked { path: &ruler.path, colour, circumstances, veil } })
    }

    /// What its colour says, taken for itself.
    fn matched(&self) -> Match {
        let Asked { colour, circumstances, veil, .. } = &self.asked;
        match *veil {
            Some(veil) => self.ruler.match_behind_veil(*colour, circumstances, veil),
            None => self.ruler.match_colour(*colour, circumstances),
        }
    }
}

/// What a match says of a sample, with all doubts there are.
fn conclude(
    view: &View,
    chart: &Chart,
    fitted: &Fitted,
    seen: &Seen,
    compared: &Compared,
    matched: &Match,
    evidence: &mut Evidence,
) -> Result<Sighting, Refusal> {
    let Seen { sample, mixed, .. } = *seen;
    let Fitted { correction, .. } = fitted;
    let Compared { scale, ruler, asked } = compared;
    let distance = ruler.nearest.place(asked.colour).map_or(f64::INFINITY, |place| place.distance);
    fill_evidence(evidence, ruler, asked.colour, correction, distance);
    if matched.outcome == Outcome::OffPath && matched.is_veiled() {
        return Err(Refusal::Veiled { chart: chart.name.clone() });
    }
    if matched.outcome == Outcome::OffPath {
        return Err(Refusal::OffPath { chart: chart.name.clone(), distance });
    }
    let mut flags = photo_flags(view, correction, mixed);
    flags.extend(&sample.flags);
    if matched.is_veiled() {
        flags.push(Flag::VeilOnSample);
    }
    if matched.is_beside_path(chart.form) {
        flags.push(Flag::OffPath);
    }
    if matched.may_be_lower {
        flags.push(Flag::BelowChart);
    }
    if matched.may_be_higher && matches!(matched.outcome, Outcome::Within { .. }) {
        flags.push(Flag::AboveChart);
    }
    if scale.is_provisional {
        flags.push(Flag::ProvisionalChart);
    }
    flags.sort_unstable();
    flags.dedup();
    let (status, value, low, high) = numbers(scale, matched);
    Ok(Sighting {
        analyte: Some(scale.analyte),
        status,
        value,
        low,
        high,
        unit: Some(scale.unit),
        chart: Some(chart.name.clone()),
        flags,
        reason: None,
        evidence: Evidence::default(),
    })
}

/// Status and numbers of an outcome: below the decision limit a value is not told from a blank, and
/// the bound is no lower than that limit, however clear the liquid. A concentration that may lie below
/// the chart altogether is bounded by nothing but zero.
fn numbers(scale: &Scale, matched: &Match) -> (Status, Option<f64>, Option<f64>, Option<f64>) {
    match matched.outcome {
        Outcome::Within { value, low, high } => match scale.limits {
            Some(limits) if value < limits.decision => {
                (Status::BelowDetection, Some(0.0), Some(0.0), Some(high.max(limits.decision)))
            }
            _ if matched.may_be_lower && scale.analyte.is_concentration() => {
                (Status::Read, Some(value), Some(0.0), Some(high))
            }
            _ => (Status::Read, Some(value), Some(low), Some(high)),
        },
        Outcome::Above { low } => (Status::AboveRange, None, Some(low), None),
        Outcome::OffPath => (Status::Refused, None, None, None),
    }
}

/// Light that falls off by more than this factor over the card is flagged.
const MOST_FALL_OFF: f64 = 1.7;
/// Share of shadowed paper from which on it is flagged.
const SHADOWED_SHARE: f64 = 0.10;
/// Paper whose red or blue differs from green by more than this factor is flagged.
const MOST_CAST: f64 = 1.45;
/// Relative noise of single pixels on paper from which on a photo is called dim.
const DIM_NOISE: f64 = 0.09;
/// Residual of the colour correction from which on it is called coarse.
const COARSE_RESIDUAL: f64 = 0.045;
/// Hue shift from which on light and phone are called unlike the chart's: the sample's colour is then
/// uncertain by a twentieth and more on this account alone (see `chart/likelihood.rs`).
const UNLIKE_CHART: f64 = 0.10;
/// Rise of the tags' edges from which on a photo is called blurred, mm: patches are measured 1.6 mm
/// inside their edges.
const SOFT_EDGE: f64 = 1.0;
/// Resolution below which the card is called small, pixels a millimetre.
const SMALL_CARD: f64 = 3.0;

/// Doubts that hold for everything in the photo.
fn photo_flags(view: &View, correction: &Correction, mixed: &MixedLight) -> Vec<Flag> {
    let (red, blue) = view.light.cast();
    let strongest_cast = red.max(1.0 / red).max(blue).max(1.0 / blue);
    let doubts = [
        (view.light.fall_off() > MOST_FALL_OFF, Flag::UnevenLight),
        (view.light.shadowed_share() > SHADOWED_SHARE, Flag::ShadowOnCard),
        (mixed.is_flagged, Flag::MixedLight),
        (strongest_cast > MOST_CAST, Flag::ColouredLight),
        (view.light.pixel_noise() > DIM_NOISE, Flag::DimPhoto),
        (view.patches.clipped > 0, Flag::PatchesClipped),
        (correction.residual() > COARSE_RESIDUAL, Flag::ColourFitCoarse),
        (correction.is_altered(), Flag::ColoursAltered),
        (correction.hue_shift() > UNLIKE_CHART && !correction.is_altered(), Flag::UnlikeChart),
        (view.card.pixels_per_mm < SMALL_CARD, Flag::CardSmall),
        (view.card.edge_width_mm > SOFT_EDGE, Flag::Blurred),
        (view.card.tags.len() < 4, Flag::ThreeTags),
    ];
    doubts.into_iter().filter_map(|(holds, flag)| holds.then_some(flag)).collect()
}

fn card_evidence(view: &View) -> Evidence {
    let corners = |rect: RectMm| rect.corners().map(|p| view.card.to_photo.apply((p.x, p.y)));
    let layout = view.card.layout;
    Evidence {
        card: corners(layout.outline()).to_vec(),
        patches: layout.patches.iter().map(|patch| corners(patch.rect)).collect(),
        ..Evidence::default()
    }
}

fn fill_evidence(
    evidence: &mut Evidence,
    ruler: &Ruler,
    colour: [f64; 3],
    correction: &Correction,
    distance: f64,
) {
    evidence.colour = Some(colour);
    evidence.levels =
        ruler.path.levels.iter().map(|&value| (value, typical_light(&ruler.path, value))).collect();
    evidence.residual = Some(correction.residual());
    evidence.distance = Some(distance);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::scale::DetectionLimits;
    use crate::chart::shipped;

    /// However clear the liquid, no bound lies below the decision limit (Currie 1968).
    #[test]
    fn a_blank_is_bounded_by_no_less_than_the_decision_limit() {
        let mut scale = shipped::find("rendered-ammonia").unwrap().unwrap().scales[0].clone();
        scale.limits = Some(DetectionLimits::of_blank(0.1));
        let blank = |value: f64, high: f64| Match {
            outcome: Outcome::Within { value, low: 0.0, high },
            chi_square: 1.0,
            above: 0.0,
            sd: 0.01,
            may_be_lower: false,
            may_be_higher: false,
            veiled: 0.0,
        };
        let (status, value, _, high) = numbers(&scale, &blank(0.01, 0.02));
        assert_eq!((status, value), (Status::BelowDetection, Some(0.0)));
        assert!((high.unwrap() - 0.16449).abs() < 1e-4);
        assert_eq!(numbers(&scale, &blank(0.1, 0.3)).3, Some(0.3));
    }
}
