//! From this photo's colours to those of the reference view of the same printed card.
//!
//! What must be added to a colour's logarithm is known at the patches: this photo's against the same
//! patches in the reference view, never against nominal values. Between them it is predicted by
//! Gaussian-process regression (kriging; Rasmussen and Williams, "Gaussian Processes for Machine
//! Learning", 2006, chapter 2): smooth, exact where there are patches, and nothing where there are
//! none. Tone curve, white balance and colour mixing of the phone are all taken in one step. Patches
//! that the others do not predict (sheen, a finger) lose weight; what the fit misses of each patch
//! left out (exact, ibid. section 5.4.2) is its uncertainty.

use nalgebra::{DMatrix, DVector};

use super::difference::lab;
use super::patches::PatchColours;
use crate::math::stats;
use crate::terms::space::Relative;

/// Light, relative to paper, at which logarithms turn linear: darker differences are noise and flare.
const LOG_FLOOR: f64 = 0.03;
/// Darkest relative light that is told from black.
const DARKEST: f64 = 1e-4;
/// Standard deviation of a gain common to all colours, natural logarithm.
const COMMON_SD: f64 = 0.10;
/// Standard deviation of the part that varies from colour to colour, natural logarithm.
const SMOOTH_SD: f64 = 0.16;
/// Distance over which it varies, natural logarithm of the three channels.
const SMOOTH_LENGTH: f64 = 1.5;
/// Share with which a difference of lightness counts in that distance: phones change hue and
/// saturation along with tone.
const LIGHTNESS_SHARE: f64 = 0.5;
/// Standard deviation of a patch's own error (print, texture, light), natural logarithm.
const PATCH_SD: f64 = 0.012;
/// A patch this many robust deviations off the others begins to lose weight.
const ROBUST_LIMIT: f64 = 2.0;
/// Weight below which a patch does not fall, so that the system stays well posed.
const LEAST_WEIGHT: f64 = 0.02;
/// Rounds of reweighting.
const ROBUST_ROUNDS: usize = 4;
/// Light at which a patch's error turns from relative to absolute.
const ERROR_FLOOR: f64 = 0.35;
/// Fewer patches cannot carry the fit.
const LEAST_PATCHES: usize = 12;
/// Largest residual with which a colour still means something.
const MOST_RESIDUAL: f64 = 0.24;
/// Chroma that the patches must have against the reference, as a share of it.
const LEAST_CHROMA_SHARE: f64 = 0.25;

/// Chroma of the patches against the reference's, as a factor, within which cameras differ among
/// each other: the photo modes of three rendered phones in seven lights give 0.78 to 1.12.
///
/// How well the two limits tell edited photos, by simulated spectra of 40 prints, with the phone of the
/// chart's photos in seven lights: none of the unedited ones is called altered; all of those with
/// saturation at 0.5, 1.5 or 1.7 times, half a sepia filter, hues turned by 20 degrees or haze of a
/// quarter are, 61 to 80 % at 0.7 and 1.3 times, with vibrance, an S-shaped curve or a strong fade, and
/// 0 to 13 % of slight edits and of warm, cold and split tones, which the patches undo. With simulated
/// phones of far other saturation 13 % of unedited photos are called altered too; wider limits would
/// lose as many of the edited ones.
const CAMERA_CHROMA: std::ops::RangeInclusive<f64> = 0.75..=1.2;
/// Turn of all hues within which they differ, degrees: those gave -5 to 3.
const MOST_TURN_DEGREES: f64 = 9.0;

/// Why this photo's colours cannot be brought to the reference view.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CorrectionError {
    /// Too few patches are visible and unclipped.
    #[error(
        "only {usable} of the card's {all} colour patches can be used ({clipped} are overexposed): uncover the card, avoid reflections and let the phone expose for the card"
    )]
    TooFewPatches {
        /// Usable patches.
        usable: usize,
        /// Patches of the card.
        all: usize,
        /// Overexposed ones.
        clipped: usize,
    },
    /// The photo holds no colour.
    #[error("the photo is black-and-white: switch off the phone's black-and-white mode or filter")]
    Monochrome,
    /// The chart was made with another card.
    #[error(
        "the chart was made with another layout of the card ({chart} patches, this card has {card}): use the card the chart was made with"
    )]
    OtherCard {
        /// Patches in the chart.
        chart: usize,
        /// Patches of the card in the photo.
        card: usize,
    },
    /// The patches do not fit.
    #[error(
        "the card's colours in this photo do not match those of the chart's card (off by {percent:.0} %): use the same print of the card, in plain daylight or neutral white light, without filters"
    )]
    DoesNotFit {
        /// Relative error of patches left out, percent.
        percent: f64,
    },
}

/// A fitted correction.
#[derive(Debug, Clone)]
pub struct Correction {
    /// Logarithms of the patches seen.
    nodes: Vec<[f64; 3]>,
    /// Kriging weights, a row a patch.
    weights: Vec<[f64; 3]>,
    residual: f64,
    hue_shift: f64,
    is_altered: bool,
}

impl Correction {
    /// Fits the correction of a photo's patches to the reference view's.
    ///
    /// # Errors
    /// Too few usable patches, no colour, another card, or patches that do not fit.
    pub fn fit(patches: &PatchColours, reference: &[Relative]) -> Result<Self, CorrectionError> {
        let all = patches.relative.len();
        if reference.len() != all {
            return Err(CorrectionError::OtherCard { chart: reference.len(), card: all });
        }
        let pairs = Pairs::new(patches, reference);
        let usable = pairs.seen.len();
        if usable < LEAST_PATCHES {
            return Err(CorrectionError::TooFewPatches { usable, all, clipped: patches.clipped });
        }
        if pairs.chroma_share() < LEAST_CHROMA_SHARE {
            return Err(CorrectionError::Monochrome);
        }
        let unsolvable = CorrectionError::DoesNotFit { percent: f64::INFINITY };
        let correction = pairs.fit().ok_or(unsolvable)?;
        if correction.residual > MOST_RESIDUAL {
            return Err(CorrectionError::DoesNotFit { percent: 100.0 * correction.residual });
        }
        Ok(Self { is_altered: pairs.are_altered(), ..correction })
    }

    /// The colour as the reference view would show it.
    pub fn apply(&self, colour: Relative) -> Relative {
        let log = logs(colour);
        let mut sum = log;
        for (node, weight) in self.nodes.iter().zip(&self.weights) {
            let likeness = covariance(&log, node);
            for channel in 0..3 {
                sum[channel] += likeness * weight[channel];
            }
        }
        sum.map(|value| (value.exp() - LOG_FLOOR).max(DARKEST))
    }

    /// Relative error of patches left out, root mean square.
    pub fn residual(&self) -> f64 {
        self.residual
    }

    /// By how much the patches' channels had to be moved against each other, natural logarithm, root
    /// mean square: how unlike this photo's lamp and phone are those of the reference view.
    pub fn hue_shift(&self) -> f64 {
        self.hue_shift
    }

    /// Whether the patches as a whole are so much stronger, paler or turned in hue against the reference
    /// that no camera mode explains it: an editor, a filter, a screen or haze does.
    pub fn is_altered(&self) -> bool {
        self.is_altered
    }
}

/// The patches that both views show.
struct Pairs {
    seen: Vec<Relative>,
    wanted: Vec<Relative>,
}

impl Pairs {
    fn new(patches: &PatchColours, reference: &[Relative]) -> Self {
        let both =
            patches.relative.iter().zip(reference).filter_map(|(seen, wanted)| Some(((*seen)?, *wanted)));
        let (seen, wanted) = both.map(|(s, w)| (s.map(|x| x.max(DARKEST)), w.map(|x| x.max(1e-3)))).unzip();
        Self { seen, wanted }
    }

    /// Mean chroma seen against that of the reference.
    fn chroma_share(&self) -> f64 {
        let chroma = |colours: &[Relative]| {
            colours.iter().map(|&colour| lab(colour)).map(|lab| lab.a.hypot(lab.b)).sum::<f64>()
        };
        chroma(&self.seen) / chroma(&self.wanted).max(1e-9)
    }

    /// Chroma and hue of all patches together: the factor on the plane of a* and b*, taken as complex
    /// numbers, that brings the reference nearest to what is seen.
    fn are_altered(&self) -> bool {
        let (mut along, mut across, mut size) = (0.0, 0.0, 0.0);
        for (&seen, &wanted) in self.seen.iter().zip(&self.wanted) {
            let (seen, wanted) = (lab(seen), lab(wanted));
            along += seen.a * wanted.a + seen.b * wanted.b;
            across += seen.b * wanted.a - seen.a * wanted.b;
            size += wanted.a * wanted.a + wanted.b * wanted.b;
        }
        let factor = along.hypot(across) / size.max(1e-9);
        !CAMERA_CHROMA.contains(&factor) || across.atan2(along).to_degrees().abs() > MOST_TURN_DEGREES
    }

    /// `None` if the system cannot be solved.
    fn fit(&self) -> Option<Correction> {
        let nodes: Vec<[f64; 3]> = self.seen.iter().map(|&colour| logs(colour)).collect();
        let count = nodes.len();
        let kernel = DMatrix::from_fn(count, count, |i, j| covariance(&nodes[i], &nodes[j]));
        let target: [DVector<f64>; 3] = std::array::from_fn(|channel| {
            DVector::from_fn(count, |k, _| logs(self.wanted[k])[channel] - nodes[k][channel])
        });
        let mut trust = vec![1.0; count];
        let mut round = 0;
        loop {
            let noise = trust.iter().map(|weight| PATCH_SD * PATCH_SD / f64::max(*weight, LEAST_WEIGHT));
            let system = &kernel + DMatrix::from_diagonal(&DVector::from_iterator(count, noise));
            let inverse = system.cholesky()?.inverse();
            let weights: [DVector<f64>; 3] = std::array::from_fn(|channel| &inverse * &target[channel]);
            // Rasmussen and Williams, equation 5.12: the error of leaving each patch out.
            let missed: Vec<[f64; 3]> = (0..count)
                .map(|k| std::array::from_fn(|channel| weights[channel][k] / inverse[(k, k)]))
                .collect();
            round += 1;
            if round == ROBUST_ROUNDS {
                let residual = self.residual(&missed, &trust);
                let weights =
                    (0..count).map(|k| std::array::from_fn(|channel| weights[channel][k])).collect();
                let hue_shift = hue_shift(&target, &trust);
                return Some(Correction { nodes, weights, residual, hue_shift, is_altered: false });
            }
            trust = trusts(&missed, |k| inverse[(k, k)].recip().sqrt())?;
        }
    }

    /// Root mean square of what is missed of patches left out, relative to their light.
    fn residual(&self, missed: &[[f64; 3]], trust: &[f64]) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (k, missed) in missed.iter().enumerate() {
            let wanted = logs(self.wanted[k]);
            for channel in 0..3 {
                let predicted = ((wanted[channel] - missed[channel]).exp() - LOG_FLOOR).max(DARKEST);
                let light = self.wanted[k][channel];
                sum += trust[k] * ((predicted - light) / light.hypot(ERROR_FLOOR)).powi(2);
                weight += trust[k];
            }
        }
        (sum / weight.max(1e-9)).sqrt()
    }
}

/// Root mean square, over the trusted patches, of what is added to each channel beyond their mean.
fn hue_shift(added: &[DVector<f64>; 3], trust: &[f64]) -> f64 {
    let total: f64 = trust.iter().sum();
    let square = |k: usize| {
        let mean = added.iter().map(|channel| channel[k]).sum::<f64>() / 3.0;
        added.iter().map(|channel| (channel[k] - mean).powi(2)).sum::<f64>() / 3.0
    };
    let sum: f64 = trust.iter().enumerate().map(|(k, weight)| weight * square(k)).sum();
    (sum / total.max(1e-9)).sqrt()
}

/// Weight of each patch by how far the others miss it, against what they should miss.
fn trusts(missed: &[[f64; 3]], expected: impl Fn(usize) -> f64) -> Option<Vec<f64>> {
    let sizes: Vec<f64> =
        missed.iter().map(|e| (e.iter().map(|x| x * x).sum::<f64>() / 3.0).sqrt()).collect();
    let ratios: Vec<f64> = sizes.iter().enumerate().map(|(k, size)| size / expected(k)).collect();
    let scale = (1.4826 * stats::median(&ratios)?).max(0.5);
    Some(ratios.iter().map(|ratio| (ROBUST_LIMIT * scale / ratio.max(1e-9)).min(1.0).powi(2)).collect())
}

fn logs(colour: Relative) -> [f64; 3] {
    colour.map(|value| (LOG_FLOOR + value.max(DARKEST)).ln())
}

/// Prior covariance of what must be added to two colours.
fn covariance(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    let gap: [f64; 3] = std::array::from_fn(|channel| a[channel] - b[channel]);
    let square: f64 = gap.iter().map(|x| x * x).sum();
    let mean = gap.iter().sum::<f64>() / 3.0;
    let distance = square - (1.0 - LIGHTNESS_SHARE * LIGHTNESS_SHARE) * 3.0 * mean * mean;
    COMMON_SD * COMMON_SD + SMOOTH_SD * SMOOTH_SD * (-0.5 * distance / (SMOOTH_LENGTH * SMOOTH_LENGTH)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reference() -> Vec<Relative> {
        crate::card::layout::VERSION_1
            .patches
            .iter()
            .map(|patch| {
                patch.nominal_srgb.map(|code| f64::from(crate::card::SRGB_TO_LINEAR[usize::from(code)]))
            })
            .collect()
    }

    fn patches(colours: impl Iterator<Item = Relative>) -> PatchColours {
        PatchColours { relative: colours.map(Some).collect(), clipped: 0 }
    }

    #[test]
    fn the_same_colours_need_no_correction() {
        let correction = Correction::fit(&patches(reference().into_iter()), &reference()).unwrap();
        let liquid = [0.4, 0.7, 0.2];
        for (got, wanted) in correction.apply(liquid).iter().zip(liquid) {
            assert!((got - wanted).abs() < 1e-3, "{got} {wanted}");
        }
        assert!(correction.residual() < 1e-6);
    }

    #[test]
    fn a_phone_with_another_tone_curve_is_mostly_undone() {
        let phone = |colour: Relative| colour.map(|value: f64| value.powf(1.12));
        let correction = Correction::fit(&patches(reference().into_iter().map(phone)), &reference()).unwrap();
        for liquid in [[0.8, 0.75, 0.25], [0.3, 0.6, 0.5], [0.7, 0.3, 0.5]] {
            for channel in 0..3 {
                let (before, after) = (phone(liquid)[channel], correction.apply(phone(liquid))[channel]);
                let (miss, left) = ((before - liquid[channel]).abs(), (after - liquid[channel]).abs());
                assert!(left < 0.25 * miss + 2e-3, "{liquid:?} {before} {after}");
            }
        }
    }

    #[test]
    fn a_patch_under_a_finger_does_not_turn_the_fit() {
        let mut covered = patches(reference().into_iter());
        covered.relative[2] = Some([0.8, 0.3, 0.2]);
        let correction = Correction::fit(&covered, &reference()).unwrap();
        let liquid = [0.5, 0.6, 0.1];
        for (got, wanted) in correction.apply(liquid).iter().zip(liquid) {
            assert!((got - wanted).abs() < 0.02, "{got} {wanted}");
        }
    }

    #[test]
    fn a_black_and_white_photo_is_named() {
        let grey = reference().into_iter().map(|[r, g, b]| [0.2 * r + 0.7 * g + 0.1 * b; 3]);
        assert_eq!(Correction::fit(&patches(grey), &reference()).unwrap_err(), CorrectionError::Monochrome);
    }

    #[test]
    fn too_few_patches_and_another_card_are_named() {
        let mut few = patches(reference().into_iter());
        few.relative[..16].fill(None);
        assert!(matches!(
            Correction::fit(&few, &reference()),
            Err(CorrectionError::TooFewPatches { usable: 8, .. })
        ));
        assert!(matches!(Correction::fit(&few, &reference()[..20]), Err(CorrectionError::OtherCard { .. })));
    }

    /// Each patch has the colour of the seventh after it: no card, no light and no phone show that.
    #[test]
    fn colours_that_no_map_takes_to_the_reference_are_refused() {
        let mut others = reference();
        others.rotate_left(7);
        let refused = Correction::fit(&patches(others.into_iter()), &reference()).unwrap_err();
        let CorrectionError::DoesNotFit { percent } = refused else { panic!("{refused}") };
        assert!(percent > 100.0 * MOST_RESIDUAL, "{percent}");
    }
}
