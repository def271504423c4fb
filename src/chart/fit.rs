//! A chart's path from photos of standards: the absorbance at every level, freed of what is peculiar
//! to each photo.
//!
//! Weighted least squares in turns: the levels' absorbances with each photo's path factor, shade and
//! veil integrated out (they only widen its covariance), then the lamp matrix, then each photo's veil,
//! about which the model is linearised. A soft prior holds the path's bend in the response coordinate,
//! so that the noise of single photos cancels over neighbouring levels.

mod system;

use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};

use super::metamerism::Metamerism;
use super::optics::{self, DARKEST, LAMP_SD, PRINT_GAIN_SD, PRINT_OFFSET_SD, PRINT_SD, Priors};
use super::response::Response;
use crate::terms::Analyte;
use crate::terms::space::Relative;
use system::{Equations, Solution, System};

/// One photo of a standard, corrected to the reference view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standard {
    /// Index of its level.
    pub level: usize,
    /// Its colour.
    pub colour: Relative,
    /// Its lamp score.
    pub lamp: f64,
    /// Relative standard uncertainty of its value.
    pub value_uncertainty: f64,
    /// How its dye may differ in its photo's light.
    pub metamerism: Metamerism,
    /// Whether it is a printed swatch in place of a liquid.
    pub is_printed: bool,
}

/// The fitted path.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Coordinate in which it is smooth.
    pub response: Response,
    /// Decadic absorbance at every level.
    pub absorbance: Vec<Vector3<f64>>,
    /// How the absorbance moves along with the lamp: per unit of lamp score, times the absorbance.
    pub lamp: Matrix3<f64>,
    /// What was known of the photos' unknowns.
    pub priors: Priors,
    /// Variance of each level's absorbance, as far as readings do not take it for unknown anyway.
    pub doubt: Vec<Vector3<f64>>,
    /// Sum of squares that was minimised.
    pub cost: f64,
}

/// Rounds of the three steps.
const ROUNDS: usize = 8;
/// Bend that is always allowed, decadic absorbance.
const BEND: f64 = 0.015;
/// Bend allowed as a share of the change over the neighbouring levels.
const BEND_SHARE: f64 = 0.06;

/// Fits the path through sorted levels; `None` if the system cannot be solved.
pub fn fit(analyte: Analyte, levels: &[f64], standards: &[Standard], priors: Priors) -> Option<Fit> {
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    Response::candidates(analyte, mean, *levels.last()?)
        .into_iter()
        .filter_map(|response| fit_with(response, levels, standards, priors))
        .min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// A photo as the fit sees it at the present veil.
struct Linear {
    level: usize,
    is_printed: bool,
    lamp: f64,
    /// Absorbance, referred to the mean veil.
    observed: Vector3<f64>,
    /// Change of absorbance per unit of veil.
    by_veil: Vector3<f64>,
    /// Inverse covariance.
    precision: Matrix3<f64>,
}

fn fit_with(response: Response, levels: &[f64], standards: &[Standard], priors: Priors) -> Option<Fit> {
    let colours: Vec<Vector3<f64>> =
        standards.iter().map(|standard| Vector3::from(standard.colour)).collect();
    let mut absorbance = start(levels.len(), standards, &colours, priors.veil_mean)?;
    let mut lamp = Matrix3::zeros();
    let mut veils = vec![priors.veil_mean; standards.len()];
    let mut solved = None;
    for _ in 0..ROUNDS {
        let linear: Vec<Linear> = standards
            .iter()
            .zip(&colours)
            .zip(&veils)
            .map(|((standard, colour), &veil)| {
                let slope = slope(levels, &absorbance, standard);
                linearise(standard, (colour, veil), &absorbance, &slope, priors)
            })
            .collect::<Option<_>>()?;
        let system = system_of(&linear, response, levels, &absorbance, &lamp);
        let solution = system.solve()?;
        absorbance = (0..levels.len()).map(|k| solution.unknowns.fixed_rows::<3>(3 * k).into()).collect();
        solved = Some((system, solution));
        lamp = solve_lamp(&linear, &absorbance)?;
        veils = linear
            .iter()
            .zip(&colours)
            .map(|(photo, colour)| solve_veil(photo, colour, &absorbance, &lamp, priors))
            .collect();
    }
    let (system, Solution { unknowns, precision }) = solved?;
    let cost = system.cost(&unknowns);
    let is_printed = standards.iter().any(|standard| standard.is_printed);
    let doubt = variances(precision, &absorbance, is_printed)?;
    Some(Fit { response, absorbance, lamp, priors, doubt, cost })
}

/// Mean absorbance of each level's photos.
fn start(
    count: usize,
    standards: &[Standard],
    colours: &[Vector3<f64>],
    veil: f64,
) -> Option<Vec<Vector3<f64>>> {
    (0..count)
        .map(|level| {
            let own: Vec<Vector3<f64>> = standards
                .iter()
                .zip(colours)
                .filter(|(standard, _)| standard.level == level)
                .map(|(_, colour)| optics::absorbance(colour, veil))
                .collect();
            (!own.is_empty()).then(|| own.iter().sum::<Vector3<f64>>() / own.len() as f64)
        })
        .collect()
}

/// Change of absorbance per relative change of the standard's value: what its uncertainty does.
fn slope(levels: &[f64], absorbance: &[Vector3<f64>], standard: &Standard) -> Vector3<f64> {
    let k = standard.level;
    let (before, after) = (k.saturating_sub(1), (k + 1).min(levels.len() - 1));
    (absorbance[after] - absorbance[before]) / (levels[after] - levels[before]) * levels[k]
}

fn linearise(
    standard: &Standard,
    (colour, veil): (&Vector3<f64>, f64),
    absorbance: &[Vector3<f64>],
    slope: &Vector3<f64>,
    priors: Priors,
) -> Option<Linear> {
    let own = &absorbance[standard.level];
    let light = colour.map(|value| (value - veil).max(DARKEST));
    let per_light = light.map(|value| 1.0 / (value * std::f64::consts::LN_10));
    let observed = light.map(|value| -value.log10()) + per_light * (priors.veil_mean - veil);
    let noise = optics::noise(colour, optics::LEAST_NOISE).component_mul(&per_light);
    let value = slope * standard.value_uncertainty;
    let metamerism =
        metameric(standard.metamerism, own, &light).component_mul(&per_light.component_mul(&per_light));
    let covariance = Matrix3::from_element(priors.shade_sd * priors.shade_sd)
        + priors.path_sd * priors.path_sd * own * own.transpose()
        + priors.veil_sd * priors.veil_sd * per_light * per_light.transpose()
        + value * value.transpose()
        + optics::diagonal(&noise)
        + Matrix3::from_diagonal(&metamerism)
        + Matrix3::from_diagonal_element(if standard.is_printed { PRINT_SD * PRINT_SD } else { 0.0 })
        + Matrix3::from_diagonal_element(1e-6);
    let precision = covariance.try_inverse()?;
    Some(Linear {
        level: standard.level,
        is_printed: standard.is_printed,
        lamp: standard.lamp,
        observed,
        by_veil: per_light,
        precision,
    })
}

/// Variance of a level's light.
fn metameric(shares: Metamerism, absorbance: &Vector3<f64>, light: &Vector3<f64>) -> Vector3<f64> {
    let Metamerism { own, wing, leak } = shares;
    let (lightest, brightest) = (absorbance.min(), light.max());
    let wings = wing * (absorbance.max() - lightest);
    Vector3::from_fn(|channel, _| {
        let own = own * (absorbance[channel] - lightest);
        let by_light = light[channel] * std::f64::consts::LN_10;
        let leak = leak * (brightest - light[channel]);
        by_light * by_light * (own * own + wings * wings) + leak * leak
    })
}

/// Absorbances of all levels, lamp matrix held.
///
/// Where swatches stand for liquids, six more unknowns say how the printed scale as a whole differs:
/// a gain and an offset of each channel (see [`super::optics`]); solutions beside them teach both.
fn system_of(
    photos: &[Linear],
    response: Response,
    levels: &[f64],
    before: &[Vector3<f64>],
    lamp: &Matrix3<f64>,
) -> System {
    let is_printed = photos.iter().any(|photo| photo.is_printed);
    let gain = 3 * levels.len();
    let offset = gain + 3;
    let mut equations: Vec<Equations> = photos
        .iter()
        .map(|photo| {
            let mut terms = [Some((3 * photo.level, Matrix3::identity() + photo.lamp * lamp)), None, None];
            if photo.is_printed {
                terms[1] = Some((gain, Matrix3::from_diagonal(&before[photo.level])));
                terms[2] = Some((offset, Matrix3::identity()));
            }
            Equations { terms, right: photo.observed, precision: photo.precision }
        })
        .collect();
    equations.extend(bends(response, levels, before));
    if is_printed {
        equations.push(prior(gain, PRINT_GAIN_SD));
        equations.push(prior(offset, PRINT_OFFSET_SD));
    }
    System { unknowns: if is_printed { offset + 3 } else { gain }, equations }
}

/// Three unknowns that are about none.
fn prior(first: usize, sd: f64) -> Equations {
    Equations {
        terms: [Some((first, Matrix3::identity())), None, None],
        right: Vector3::zeros(),
        precision: Matrix3::from_diagonal_element(1.0 / (sd * sd)),
    }
}

/// What holds the path's bend.
fn bends(response: Response, levels: &[f64], before: &[Vector3<f64>]) -> impl Iterator<Item = Equations> {
    let g: Vec<f64> = levels.iter().map(|&level| response.coordinate(level)).collect();
    (1..levels.len().saturating_sub(1)).map(move |k| {
        let share = (g[k] - g[k - 1]) / (g[k + 1] - g[k - 1]);
        let sd = BEND + BEND_SHARE * (before[k + 1] - before[k - 1]).abs().max();
        let term = |level: usize, share: f64| (3 * level, Matrix3::from_diagonal_element(share));
        Equations {
            terms: [term(k, 1.0), term(k - 1, share - 1.0), term(k + 1, -share)].map(Some),
            right: Vector3::zeros(),
            precision: Matrix3::from_diagonal_element(1.0 / (sd * sd)),
        }
    })
}

/// Variance of each level, all other unknowns left open. A reading takes its own shade and path factor
/// for unknown, so what looks like either is taken off. Swatches may differ in each channel's gain, which
/// a path factor does not make good, and do not tell how the liquid answers to lamps: there only the
/// shade is taken off, and what is known of the lamps beforehand is added.
fn variances(
    precision: DMatrix<f64>,
    absorbance: &[Vector3<f64>],
    is_printed: bool,
) -> Option<Vec<Vector3<f64>>> {
    let unshade = Matrix3::identity() - Matrix3::from_element(1.0 / 3.0);
    let all = precision.try_inverse()?;
    let level = |(k, own): (usize, &Vector3<f64>)| {
        let fitted = all.fixed_view::<3, 3>(3 * k, 3 * k);
        let (seen, variance) = if is_printed {
            let by_lamp = Matrix3::from_diagonal_element(LAMP_SD * LAMP_SD * own.norm_squared());
            (unshade, fitted + by_lamp)
        } else {
            let deeper = (unshade * own).try_normalize(f64::EPSILON).unwrap_or_default();
            (unshade - deeper * deeper.transpose(), fitted.into_owned())
        };
        // What is left of nothing is rounding.
        (seen * variance * seen).diagonal().map(|variance| variance.max(0.0))
    };
    Some(absorbance.iter().enumerate().map(level).collect())
}

/// Lamp matrix, levels held. Its rows' elements are the unknowns: of the photo's light, the matrix times
/// the level's absorbance.
fn solve_lamp(photos: &[Linear], absorbance: &[Vector3<f64>]) -> Option<Matrix3<f64>> {
    let mut normal = SMatrix::<f64, 9, 9>::from_diagonal_element(1.0 / (LAMP_SD * LAMP_SD));
    let mut right = SVector::<f64, 9>::zeros();
    for photo in photos {
        let own = absorbance[photo.level];
        let moved = photo.lamp * own;
        let square = moved * moved.transpose();
        let pull = photo.precision * (photo.observed - own);
        for row in 0..3 {
            right.fixed_rows_mut::<3>(3 * row).axpy(pull[row], &moved, 1.0);
            for column in 0..3 {
                let mut block = normal.fixed_view_mut::<3, 3>(3 * row, 3 * column);
                block += photo.precision[(row, column)] * square;
            }
        }
    }
    let solution = normal.cholesky()?.solve(&right);
    Some(Matrix3::from_row_slice(solution.as_slice()))
}

/// Veil of one photo given the path.
fn solve_veil(
    photo: &Linear,
    colour: &Vector3<f64>,
    absorbance: &[Vector3<f64>],
    lamp: &Matrix3<f64>,
    priors: Priors,
) -> f64 {
    let own = absorbance[photo.level];
    let error = photo.observed - (own + photo.lamp * lamp * own);
    let variance = priors.veil_sd * priors.veil_sd;
    let veil = priors.veil_mean - variance * photo.by_veil.dot(&(photo.precision * error));
    veil.clamp(0.0, 0.6 * colour.min())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::optics::VIAL;
    use crate::chart::path::Path;

    const LEVELS: [f64; 5] = [0.0, 1.0, 2.0, 4.0, 8.0];

    /// Standards of an invented dye that takes green and some blue, each level photographed so often.
    fn fitted(photos: usize) -> Fit {
        let standards: Vec<Standard> = (0..LEVELS.len() * photos)
            .map(|k| {
                let level = k % LEVELS.len();
                let strength = LEVELS[level] / (1.0 + LEVELS[level] / 10.0);
                let colour = [0.02, 0.25, 0.08].map(|share| 10_f64.powf(-share * strength) + VIAL.veil_mean);
                Standard {
                    level,
                    colour,
                    lamp: 0.0,
                    value_uncertainty: 0.0,
                    metamerism: Metamerism { own: 0.05, wing: 0.0, leak: 0.0 },
                    is_printed: false,
                }
            })
            .collect();
        fit(Analyte::Nitrite, &LEVELS, &standards, VIAL).unwrap()
    }

    /// A share of the other channels' light is little against what a pale dye lets pass, and more than
    /// all that a strong one does: by hand, 0.015 of 0.8 - 0.4 and of 0.8 - 0.01.
    #[test]
    fn light_that_leaks_in_from_other_channels_matters_where_a_dye_leaves_little() {
        let leaks = Metamerism { own: 0.0, wing: 0.0, leak: 0.015 };
        let sd = |green: f64| {
            let light = Vector3::new(0.8, green, 0.8);
            metameric(leaks, &optics::absorbance(&light, 0.0), &light).map(f64::sqrt)
        };
        assert!((sd(0.4)[1] - 0.006).abs() < 1e-12 && (sd(0.01)[1] - 0.01185).abs() < 1e-12);
        assert_eq!(sd(0.01)[0], 0.0);
    }

    /// The variance of a mean falls with the number of independent observations (GUM, JCGM 100:2008,
    /// 4.2.3); the bend's prior takes a little of that.
    #[test]
    fn four_photos_of_each_level_leave_a_quarter_of_the_variance_that_one_leaves() {
        let (one, four) = (fitted(1).doubt, fitted(4).doubt);
        for level in 1..LEVELS.len() {
            let ratio = four[level].sum() / one[level].sum();
            assert!((0.24..0.4).contains(&ratio), "level {level}: {ratio}");
        }
    }

    /// A straight line through the last two levels, drawn on by as much again: 2² + 1² of the variance
    /// of one, if both have the same (propagation of uncertainty, same guide, 5.1.2).
    #[test]
    fn beyond_the_last_level_the_variance_grows_as_that_of_a_line_drawn_on() {
        let mut fit = fitted(2);
        fit.doubt = vec![Vector3::from_element(1e-4); LEVELS.len()];
        let path = Path::new(&LEVELS, &fit).unwrap();
        let (last, before) = (fit.response.coordinate(8.0), fit.response.coordinate(4.0));
        let (node, beyond) = path
            .nodes
            .iter()
            .map(|node| (node, (fit.response.coordinate(node.value) - last) / (last - before)))
            .next_back()
            .unwrap();
        assert!(beyond > 0.5);
        let expected = 1e-4 * ((1.0 + beyond).powi(2) + beyond.powi(2));
        assert!((node.doubt[0] - expected).abs() < 1e-12, "{} {expected}", node.doubt[0]);
        let inside = path.nodes.iter().find(|node| node.value == 8.0).unwrap();
        assert!((inside.doubt[0] - 1e-4).abs() < 1e-12);
    }
}
