//! A chart from photos of standards.

use super::file::{Chart, Form};
use super::fit::{self, Fit, Standard};
use super::kept::{KeptPhoto, Measured, Origin, StandardPhoto};
use super::matching::{Circumstances, Outcome};
use super::metamerism::Metamerism;
use super::path::Path;
use super::scale::{CrossValidation, DetectionLimits, Level, Rulers, Scale};
use crate::colour::{Correction, CorrectionError, MixedLight, PatchColours, ReferenceView};
use crate::math::stats;
use crate::terms::Analyte;
use crate::terms::space::Relative;

/// Fewer levels leave too much of the colours' course to guesswork.
pub const LEAST_LEVELS: usize = 5;
/// Neighbouring levels whose absorbances, shade taken off, differ by less look alike.
const LEAST_DIFFERENCE: f64 = 0.012;
/// A path that turns back by more than this (cosine of the turn) has levels in the wrong order.
const TURNED_BACK: f64 = -0.5;

/// One sample on a photo of standards.
#[derive(Debug, Clone)]
pub struct Observation {
    /// Index of the photo.
    pub photo: usize,
    /// What it holds.
    pub analyte: Analyte,
    /// Its known value.
    pub value: f64,
    /// Relative standard uncertainty of that value.
    pub value_uncertainty: f64,
    /// Measured colour relative to bare paper.
    pub colour: Relative,
    /// Relative scatter over the sample.
    pub unevenness: f64,
    /// Whether it is a solution or a printed swatch.
    pub origin: Origin,
}

/// One photo of standards.
#[derive(Debug, Clone)]
pub struct Photo {
    /// Its file, as given.
    pub name: String,
    /// Hash of its content, the same whatever its name or metadata.
    pub hash: String,
    /// The card's patches in it.
    pub patches: PatchColours,
    /// Mixed light in it.
    pub mixed: MixedLight,
}

/// Why no chart can be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Too few levels.
    #[error(
        "{analyte}: only {found} different levels ({levels}), a chart needs at least {LEAST_LEVELS}: photograph more standards, spread over the range you want to read"
    )]
    TooFewLevels {
        /// Analyte.
        analyte: Analyte,
        /// Levels found.
        found: usize,
        /// Their values.
        levels: String,
    },
    /// A patch of the card can be seen in none of the photos.
    #[error(
        "a patch of the card is hidden or overexposed in every photo: photograph the standards again with the whole card visible"
    )]
    HiddenPatch,
    /// A photo does not fit the others.
    #[error("{photo}: {reason}")]
    Correction {
        /// The photo.
        photo: String,
        /// What is wrong with it.
        reason: CorrectionError,
    },
    /// Two levels look alike.
    #[error(
        "{analyte}: the standards of {low} and {high} have the same colour: check the dilutions, or leave one of them out"
    )]
    LevelsAlike {
        /// Analyte.
        analyte: Analyte,
        /// Lower level.
        low: f64,
        /// Higher level.
        high: f64,
    },
    /// The path turns back.
    #[error(
        "{analyte}: the colours turn back at {level}, between {before} and {after}: check whether two standards were swapped or a photo is listed under the wrong value"
    )]
    TurnsBack {
        /// Analyte.
        analyte: Analyte,
        /// Level below.
        before: f64,
        /// Level at which the path turns.
        level: f64,
        /// Level above.
        after: f64,
    },
    /// The system of equations has no solution.
    #[error("{analyte}: no path fits these standards: check the values in the table")]
    NoPath {
        /// Analyte.
        analyte: Analyte,
    },
}

/// Makes a chart.
///
/// # Errors
/// Too few levels, photos that do not fit, levels that look alike or out of order.
pub fn calibrate(
    name: &str,
    form: Form,
    card_version: u8,
    photos: &[Photo],
    observations: &[Observation],
) -> Result<Chart, CalibrationError> {
    let patches: Vec<PatchColours> = photos.iter().map(|photo| photo.patches.clone()).collect();
    let reference = ReferenceView::learn(&patches).ok_or(CalibrationError::HiddenPatch)?;
    let corrections: Vec<Correction> = photos
        .iter()
        .map(|photo| {
            Correction::fit(&photo.patches, &reference.patches)
                .map_err(|reason| CalibrationError::Correction { photo: photo.name.clone(), reason })
        })
        .collect::<Result<_, _>>()?;
    let mut analytes: Vec<Analyte> = Vec::new();
    for observation in observations {
        if !analytes.contains(&observation.analyte) {
            analytes.push(observation.analyte);
        }
    }
    let scales = analytes
        .into_iter()
        .map(|analyte| {
            let own = used(observations, analyte);
            Calibrator { analyte, reference: &reference, photos, corrections: &corrections, own, form }
                .scale()
        })
        .collect::<Result<_, _>>()?;
    let standards = observations
        .iter()
        .map(|observation| StandardPhoto {
            photo: photos[observation.photo].name.clone(),
            analyte: observation.analyte,
            value: observation.value,
            colour: corrections[observation.photo].apply(observation.colour),
            measured: Some(Measured {
                photo: observation.photo,
                origin: observation.origin,
                colour: observation.colour,
                uncertainty: observation.value_uncertainty,
                unevenness: observation.unevenness,
            }),
        })
        .collect();
    let kept = photos.iter().map(KeptPhoto::from).collect();
    Ok(Chart::new(name, form, card_version, reference, scales, (standards, kept)))
}

/// What a scale rests on: solutions alone as soon as they make a chart over the whole printed scale,
/// until then the swatches too.
fn used(observations: &[Observation], analyte: Analyte) -> Vec<&Observation> {
    let all: Vec<&Observation> = observations.iter().filter(|own| own.analyte == analyte).collect();
    let solutions: Vec<&Observation> =
        all.iter().copied().filter(|own| own.origin == Origin::Solution).collect();
    let levels = levels_of(&solutions);
    let spans = |own: &Observation| {
        levels.first().is_some_and(|low| *low <= own.value)
            && levels.last().is_some_and(|top| own.value <= *top)
    };
    if levels.len() >= LEAST_LEVELS && all.iter().all(|own| spans(own)) { solutions } else { all }
}

fn levels_of(observations: &[&Observation]) -> Vec<f64> {
    let mut levels: Vec<f64> = observations.iter().map(|own| own.value).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    levels
}

/// What one scale is made from.
struct Calibrator<'a> {
    analyte: Analyte,
    reference: &'a ReferenceView,
    photos: &'a [Photo],
    corrections: &'a [Correction],
    own: Vec<&'a Observation>,
    form: Form,
}

impl Calibrator<'_> {
    fn scale(&self) -> Result<Scale, CalibrationError> {
        let levels = levels_of(&self.own);
        if levels.len() < LEAST_LEVELS {
            let found = levels.len();
            let levels = levels.iter().map(f64::to_string).collect::<Vec<_>>().join(", ");
            return Err(CalibrationError::TooFewLevels { analyte: self.analyte, found, levels });
        }
        let standards: Vec<Standard> = self.own.iter().map(|own| self.standard(own, &levels)).collect();
        let no_path = CalibrationError::NoPath { analyte: self.analyte };
        let fit = fit::fit(self.analyte, &levels, &standards, self.form.priors()).ok_or(no_path.clone())?;
        self.check_order(&levels, &fit)?;
        let path = Path::new(&levels, &fit).ok_or(no_path)?;
        Ok(Scale {
            analyte: self.analyte,
            unit: self.analyte.default_unit(),
            levels: self.level_records(&levels, &fit),
            response: fit.response,
            lamp: std::array::from_fn(|row| std::array::from_fn(|column| fit.lamp[(row, column)])),
            is_provisional: self.is_provisional(),
            limits: self.limits(&path),
            cross_validation: self.cross_validate(&levels, &standards),
            rulers: Rulers::default(),
        })
    }

    fn standard(&self, own: &Observation, levels: &[f64]) -> Standard {
        Standard {
            level: levels.partition_point(|level| *level < own.value),
            colour: self.corrections[own.photo].apply(own.colour),
            lamp: self.lamp_of(own),
            value_uncertainty: own.value_uncertainty,
            metamerism: Metamerism::of(&self.circumstances(own)),
            is_printed: own.origin == Origin::Swatch,
        }
    }

    fn is_provisional(&self) -> bool {
        self.own.iter().any(|own| own.origin == Origin::Swatch)
    }

    /// Inks of swatches answer to a lamp as the card's patches do; beside swatches a few solutions tell
    /// too little of how their dye answers.
    fn lamp_of(&self, own: &Observation) -> f64 {
        if self.is_provisional() {
            0.0
        } else {
            self.reference.score_of_standard(&self.photos[own.photo].patches)
        }
    }

    fn level_records(&self, levels: &[f64], fit: &Fit) -> Vec<Level> {
        let at = |value: f64| self.own.iter().filter(move |own| own.value == value);
        levels
            .iter()
            .zip(&fit.absorbance)
            .enumerate()
            .map(|(index, (&value, absorbance))| Level {
                value,
                absorbance: [absorbance[0], absorbance[1], absorbance[2]],
                photos: at(value).count(),
                uncertainty: at(value).map(|own| own.value_uncertainty).fold(0.0, f64::max),
                doubt: fit.doubt[index].into(),
            })
            .collect()
    }

    /// Neighbouring levels must differ, and the path must not turn back.
    fn check_order(&self, levels: &[f64], fit: &Fit) -> Result<(), CalibrationError> {
        let analyte = self.analyte;
        let unshaded = |k: usize| fit.absorbance[k].add_scalar(-fit.absorbance[k].mean());
        let moves: Vec<_> = (1..levels.len()).map(|k| unshaded(k) - unshaded(k - 1)).collect();
        if let Some(k) = moves.iter().position(|step| step.norm() < LEAST_DIFFERENCE) {
            return Err(CalibrationError::LevelsAlike { analyte, low: levels[k], high: levels[k + 1] });
        }
        let turn = |k: usize| moves[k - 1].dot(&moves[k]) / (moves[k - 1].norm() * moves[k].norm());
        match (1..moves.len()).find(|&k| turn(k) < TURNED_BACK) {
            Some(k) => Err(CalibrationError::TurnsBack {
                analyte,
                before: levels[k - 1],
                level: levels[k],
                after: levels[k + 1],
            }),
            None => Ok(()),
        }
    }

    fn circumstances(&self, own: &Observation) -> Circumstances {
        let photo = &self.photos[own.photo];
        let lamp = self.reference.score(&photo.patches);
        Circumstances::of(&self.corrections[own.photo], &lamp, &photo.mixed, own.unevenness)
    }

    /// From the readings of the blanks.
    fn limits(&self, path: &Path) -> Option<DetectionLimits> {
        if !self.analyte.is_concentration() || path.first() != 0.0 {
            return None;
        }
        let squares: Vec<f64> = self
            .own
            .iter()
            .filter(|own| own.value == 0.0)
            .map(|own| {
                let colour = self.corrections[own.photo].apply(own.colour);
                super::matching::match_colour(path, colour, &self.circumstances(own)).sd.powi(2)
            })
            .collect();
        Some(DetectionLimits::of_blank(stats::mean(&squares)?.sqrt()))
    }

    /// Reads every photo with a path fitted without it, where its level has another photo.
    fn cross_validate(&self, levels: &[f64], standards: &[Standard]) -> Option<CrossValidation> {
        let (mut errors, mut held) = (Vec::new(), 0_usize);
        let solutions = self.own.iter().enumerate().filter(|(_, own)| own.origin == Origin::Solution);
        for (k, own) in solutions {
            let others: Vec<Standard> =
                standards.iter().enumerate().filter(|(other, _)| *other != k).map(|(_, s)| *s).collect();
            if others.iter().all(|other| other.level != standards[k].level) {
                continue;
            }
            let fit = fit::fit(self.analyte, levels, &others, self.form.priors())?;
            let path = Path::new(levels, &fit)?;
            let matched = super::matching::match_colour(&path, standards[k].colour, &self.circumstances(own));
            let (value, low, high) = match matched.outcome {
                Outcome::Within { value, low, high } => (value, low, high),
                Outcome::Above { low } => (path.last(), low, f64::INFINITY),
                Outcome::OffPath => (f64::NAN, f64::NAN, f64::NAN),
            };
            if value.is_nan() {
                errors.push(path.levels.len() as f64);
                continue;
            }
            errors.push((value - own.value).abs() / path.step_at(own.value));
            held += usize::from(low <= own.value && own.value <= high);
        }
        Some(CrossValidation {
            photos: errors.len(),
            median_steps: stats::median(&errors)?,
            p95_steps: stats::quantile(&errors, 0.95)?,
            coverage: held as f64 / errors.len() as f64,
        })
    }
}
