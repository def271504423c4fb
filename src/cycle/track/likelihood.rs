//! How probable a test's readings are in one course of the tank.

use super::particle::Particle;
use crate::cycle::series::{Level, Sample};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};
use crate::terms::{Analyte, TankFacts};

/// Chance that a keeper is off by one chart step.
const STEP_OFF: f64 = 0.03;
/// How far a chart step is, as a share of the value.
const STEP_SPREAD: f64 = 0.4;
/// How far the first chart step is, mg/L as N: 0.25 mg/L of ammonia and nitrite, 5 mg/L of nitrate.
const FIRST_STEP: [f64; 3] = [0.18, 0.07, 1.2];
/// Chance of a reading that means nothing.
const NONSENSE: f64 = 2e-4;
/// Levels of this size are read, mg/L as N: spreads the density of a meaningless reading.
const CHART_SPAN: [f64; 3] = [6.0, 1.6, 25.0];

/// What a test can show: the end of each chart, and the density that it would give a perfect course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charts {
    /// Last colour of ammonia, nitrite and nitrate, mg/L as N; infinite where unknown.
    pub top: [f64; 3],
}

impl Charts {
    /// From the tank's facts.
    pub fn new(facts: &TankFacts) -> Self {
        let top = |top: Option<f64>, factor: f64| top.map_or(f64::INFINITY, |top| top / factor);
        let tops = &facts.chart_top;
        Self {
            top: [top(tops.ammonia, NH3_PER_N), top(tops.nitrite, NO2_PER_N), top(tops.nitrate, NO3_PER_N)],
        }
    }
}

/// The three readings of a test, mg/L as N, in the order ammonia, nitrite, nitrate.
pub type Reading = [Option<Level>; 3];

/// A slip of the pen in one test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// None.
    None,
    /// Ammonia and nitrite written down for each other.
    Swapped,
    /// One reading means nothing.
    Wrong(Analyte),
}

/// The readings of `sample` as a [`Reading`].
pub fn reading_of(sample: &Sample) -> Reading {
    [sample.ammonia, sample.nitrite, sample.nitrate]
}

fn relabelled(level: Level, factor: f64) -> Level {
    Level { value: level.value * factor, sd: level.sd * factor, ..level }
}

/// Ammonia and nitrite exchanged as numbers on their charts, not as nitrogen.
pub fn swapped(reading: &Reading) -> Reading {
    let to_ammonia = NO2_PER_N / NH3_PER_N;
    [
        reading[1].map(|level| relabelled(level, to_ammonia)),
        reading[0].map(|level| relabelled(level, 1.0 / to_ammonia)),
        reading[2],
    ]
}

/// Probability density of `reading` in the course `particle`, with a `slip`; never less than about 1e-16.
pub fn likelihood(particle: &Particle, reading: &Reading, slip: Slip, charts: &Charts) -> f64 {
    let exchanged;
    let reading = if slip == Slip::Swapped {
        exchanged = swapped(reading);
        &exchanged
    } else {
        reading
    };
    let expected = [
        particle.ammonia * particle.gain[0],
        particle.nitrite * particle.gain[1],
        (particle.nitrate + particle.cross * particle.nitrite) * particle.gain[2],
    ];
    let analytes = [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate];
    (0..3)
        .filter_map(|index| {
            let level = reading[index]?;
            let span = CHART_SPAN[index];
            let density = if slip == Slip::Wrong(analytes[index]) {
                1.0 / span
            } else {
                density(expected[index], &level, FIRST_STEP[index], span, charts.top[index])
            };
            Some(density)
        })
        .product()
}

fn density(expected: f64, level: &Level, first_step: f64, span: f64, top: f64) -> f64 {
    let nonsense = NONSENSE / span;
    if level.above {
        // The chart's last colour; one step below it is easily taken for it.
        let beyond = logistic((expected - level.value - level.sd) / (0.6 * level.sd));
        let step_off = logistic((expected * (1.0 + STEP_SPREAD) - level.value - level.sd) / (0.6 * level.sd));
        return (1.0 - STEP_OFF) * beyond + STEP_OFF * step_off + NONSENSE;
    }
    let close = gaussian(level.value, expected, level.sd);
    let seen = expected.min(top);
    let step = (STEP_SPREAD * seen).max(first_step);
    let spread = (step * step + level.sd * level.sd).sqrt();
    (1.0 - STEP_OFF) * close + STEP_OFF * gaussian(level.value, seen, spread) + nonsense
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

fn gaussian(value: f64, mean: f64, sd: f64) -> f64 {
    let z = (value - mean) / sd;
    (-0.5 * z * z).exp() / (sd * std::f64::consts::TAU.sqrt())
}

/// Logarithm of the density that the best conceivable course would give `reading`.
pub fn log_best(reading: &Reading) -> f64 {
    let best = |level: Level| if level.above { 0.0 } else { -(level.sd * std::f64::consts::TAU.sqrt()).ln() };
    reading.iter().flatten().map(|level| best(*level)).sum()
}

/// Logarithm of the density of a meaningless reading of `analyte`.
pub fn log_nonsense(analyte: Analyte) -> f64 {
    match analyte {
        Analyte::Ammonia => -CHART_SPAN[0].ln(),
        Analyte::Nitrite => -CHART_SPAN[1].ln(),
        _ => -CHART_SPAN[2].ln(),
    }
}
