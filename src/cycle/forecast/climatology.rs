//! What became of other tanks that stood as this one does: a second opinion on the day of the proof.
//!
//! The filter's intervals are too sure wherever tanks are not quite as its model has them. So its days are
//! pooled with what a second model says, built otherwise (`tests/benches/support/other_model`). Of a few
//! thousand of its histories, each followed with the filter, the logarithm of the days that were left was
//! regressed on how the filter saw the tank (least squares, one line for each phase of nitrite), which is a
//! log-normal climatology. The two densities are multiplied, each to the power of its weight (logarithmic
//! opinion pool: Genest & Zidek, Statistical Science 1:114, 1986, from memory): each possible tank that
//! passes in the end gets a weight by its day. How likely a proof passes today, or never, stays the filter's.
//!
//! `TINTWELL_FIT=4000 cargo bench --bench climatology` fits [`TABLE`] anew; `MEASURED.md` says what it brings.

use super::particle::{Block, Particle};
use super::quantile::quantile;
use super::timeline::Timeline;
use crate::cycle::kinetics::WIDTH;
use crate::terms::Analyte;

/// Weights of the filter and of the climatology. Chosen on 251 dates of a set of the second model that the table
/// is not fitted to: the narrowest intervals of which 72 % hold there and whose misses cost no more (interval
/// score) than the filter's own.
const FILTER: f64 = 0.5;
const CLIMATOLOGY: f64 = 0.8;

/// Numbers in [`Signs::numbers`].
pub const NUMBERS: usize = 8;

/// The climatology of one phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// What each of [`Signs::numbers`] adds to the logarithm of the days and one day.
    pub slopes: [f64; NUMBERS],
    /// Standard deviation about that.
    pub spread: f64,
}

/// One line for each [`Phase`], as the bench fits them to 332, 725 and 540 tanks of 4000 histories.
pub const TABLE: [Line; 3] = [
    Line { slopes: [1.928, 0.187, -0.032, -0.135, -0.083, -0.065, -0.115, -0.051], spread: 0.494 },
    Line { slopes: [1.594, 0.270, 0.004, -0.026, -0.072, -0.160, -0.174, -0.095], spread: 0.816 },
    Line { slopes: [1.498, 0.253, -0.135, 0.068, -0.060, -0.124, -0.327, -0.096], spread: 1.032 },
];

/// How far nitrite has come by its readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// It has not shown.
    Unseen,
    /// It rises or stands.
    Standing,
    /// It has fallen well below its highest reading.
    Fallen,
}

/// How a tank stands, by its log and the filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signs {
    /// How far nitrite has come.
    pub phase: Phase,
    /// Days since the start.
    pub age: f64,
    /// Degrees Celsius.
    pub celsius: f64,
    /// Ammonia and nitrite as they stand, mg N/L.
    pub water: [f64; 2],
    /// Alkalinity, meq/L.
    pub alkalinity: f64,
    /// What the two colonies oxidise in a day at 20 degrees and their best, mg N/L/d.
    pub colonies: [f64; 2],
}

impl Phase {
    /// Nitrite counts as shown from 0.3 mg/L on and as fallen below 0.6 of its highest, at least 0.5 mg/L.
    fn of(nitrite: &[f64]) -> Self {
        let highest = nitrite.iter().copied().fold(0.0, f64::max);
        match nitrite.last() {
            Some(last) if highest >= 0.5 && *last < 0.6 * highest => Self::Fallen,
            Some(_) if highest >= 0.3 => Self::Standing,
            _ => Self::Unseen,
        }
    }
}

impl Signs {
    /// The signs of the tank that `timeline` tells of and `blocks` stand for: middle values.
    pub(super) fn of(timeline: &Timeline, blocks: &[Block]) -> Self {
        let nitrite: Vec<f64> = timeline.readings(Analyte::Nitrite).map(|(_, level)| level).collect();
        let middle = |pick: fn(&Particle) -> f64| {
            let values: Vec<f64> =
                blocks.iter().flat_map(|block| (0..WIDTH).map(|lane| pick(&block.particle(lane)))).collect();
            quantile(&values, 0.5).unwrap_or(0.0)
        };
        Self {
            phase: Phase::of(&nitrite),
            age: timeline.now,
            celsius: timeline.celsius(timeline.now),
            water: [middle(|tank| tank.state.ammonia), middle(|tank| tank.state.nitrite)],
            alkalinity: middle(|tank| tank.state.alkalinity),
            colonies: [
                middle(|tank| tank.state.ammonia_oxidisers),
                middle(|tank| tank.state.nitrite_oxidisers),
            ],
        }
    }

    /// What the line of its phase is drawn over; the first is always 1.
    pub fn numbers(&self) -> [f64; NUMBERS] {
        [
            1.0,
            self.age.ln_1p(),
            (self.water[0] + 0.1).ln(),
            (self.water[1] + 0.1).ln(),
            self.celsius - 25.0,
            (self.alkalinity + 0.1).ln(),
            (self.colonies[0] + 0.01).ln(),
            (self.colonies[1] + 0.001).ln(),
        ]
    }
}

/// Weights of possible tanks that pass after so many `days`: those that pass at all weigh 1 on average, the
/// others 1 each.
pub(super) fn weights(days: &[f64], signs: &Signs) -> Vec<f64> {
    let logs: Vec<f64> = days.iter().map(|day| day.ln_1p()).collect();
    let passing: Vec<f64> = logs.iter().copied().filter(|log| log.is_finite()).collect();
    let line = &TABLE[signs.phase as usize];
    let middle: f64 = line.slopes.iter().zip(signs.numbers()).map(|(slope, number)| slope * number).sum();
    let density = Density::of(&passing);
    let weight = |log: f64| {
        let climatology = -0.5 * ((log - middle) / line.spread).powi(2);
        (CLIMATOLOGY * climatology).exp() * density.at(log).powf(FILTER - 1.0)
    };
    let total: f64 = passing.iter().map(|log| weight(*log)).sum();
    let mean = total / passing.len().max(1) as f64;
    let scaled = |log: &f64| if log.is_finite() && mean > 0.0 { weight(*log) / mean } else { 1.0 };
    logs.iter().map(scaled).collect()
}

/// The density of a sample of logarithms of days, smoothed, on a grid.
struct Density {
    values: Vec<f64>,
}

impl Density {
    /// Step of the grid, which begins at 0.
    const STEP: f64 = 0.025;
    /// A little more than the logarithm of the longest forecast.
    const END: f64 = 4.6;
    /// So that a lone tank does not weigh too much.
    const LEAST: f64 = 1e-3;

    /// Gaussian kernels of 1.3 times Silverman's width.
    fn of(sample: &[f64]) -> Self {
        let count = sample.len().max(1) as f64;
        let mean = sample.iter().sum::<f64>() / count;
        let deviation = (sample.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / count).sqrt();
        let quarters = [0.25, 0.75].map(|share| quantile(sample, share).unwrap_or(0.0));
        let scatter = deviation.min((quarters[1] - quarters[0]) / 1.34);
        let width = (1.3 * 0.9 * scatter * count.powf(-0.2)).max(0.065);
        let kernel =
            |at: f64| sample.iter().map(|log| (-0.5 * ((at - log) / width).powi(2)).exp()).sum::<f64>();
        let points = (Self::END / Self::STEP).ceil() as usize;
        let scale = 1.0 / (count * width * (2.0 * std::f64::consts::PI).sqrt());
        Self { values: (0..=points).map(|point| scale * kernel(point as f64 * Self::STEP)).collect() }
    }

    fn at(&self, log: f64) -> f64 {
        let place = (log / Self::STEP).clamp(0.0, (self.values.len() - 2) as f64);
        let (index, beyond) = (place as usize, place.fract());
        self.values[index] * (1.0 - beyond) + self.values[index + 1] * beyond + Self::LEAST
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Its climatology by [`TABLE`] is about three weeks.
    const YOUNG: Signs = Signs {
        phase: Phase::Unseen,
        age: 6.0,
        celsius: 25.0,
        water: [1.6, 0.01],
        alkalinity: 3.0,
        colonies: [0.01, 0.0005],
    };

    fn mean_of(days: &[f64], weights: &[f64]) -> f64 {
        let finite = || days.iter().zip(weights).filter(|(day, _)| day.is_finite());
        finite().map(|(day, weight)| day * weight).sum::<f64>()
            / finite().map(|(_, weight)| weight).sum::<f64>()
    }

    #[test]
    fn days_are_drawn_to_what_became_of_such_tanks() {
        let numbers = YOUNG.numbers();
        let line = TABLE[0];
        let usual =
            line.slopes.iter().zip(numbers).map(|(slope, number)| slope * number).sum::<f64>().exp_m1();
        assert!((10.0..40.0).contains(&usual), "a young tank's days: {usual}");
        for (from, later) in [(0.3, true), (3.0, false)] {
            let days: Vec<f64> = (0..800).map(|i| from * usual * (0.6 + f64::from(i) / 1000.0)).collect();
            let plain = mean_of(&days, &vec![1.0; 800]);
            let pooled = mean_of(&days, &weights(&days, &YOUNG));
            assert_eq!(pooled > plain, later, "{plain} days became {pooled}, usual are {usual}");
        }
    }

    #[test]
    fn tanks_that_never_pass_keep_their_share() {
        let mut days: Vec<f64> = (0..300).map(|i| 5.0 + 0.1 * f64::from(i)).collect();
        days.extend([f64::INFINITY; 100]);
        let weights = weights(&days, &YOUNG);
        assert!(weights[300..].iter().all(|weight| *weight == 1.0));
        assert!((weights[..300].iter().sum::<f64>() - 300.0).abs() < 1e-6);
        assert!(super::weights(&[f64::INFINITY; 8], &YOUNG).iter().all(|weight| *weight == 1.0));
    }

    #[test]
    fn the_phase_follows_nitrite() {
        assert_eq!(Phase::of(&[]), Phase::Unseen);
        assert_eq!(Phase::of(&[0.0, 0.1]), Phase::Unseen);
        assert_eq!(Phase::of(&[0.1, 1.0, 2.0]), Phase::Standing);
        assert_eq!(Phase::of(&[0.1, 2.0, 1.0]), Phase::Fallen);
    }

    /// Two hundred even steps over one unit: a density of 1 in the middle.
    #[test]
    fn the_smoothed_density_is_one_where_the_sample_is_even() {
        let sample: Vec<f64> = (0..200).map(|i| 2.0 + f64::from(i) / 200.0).collect();
        let density = Density::of(&sample);
        assert!((density.at(2.5) - 1.0).abs() < 0.05, "{}", density.at(2.5));
        assert!(density.at(4.0) < 0.01);
    }
}
