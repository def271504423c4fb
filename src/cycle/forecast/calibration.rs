//! Simulation-based calibration: histories drawn from the model itself must get their truth back with
//! ranks that are uniform (Talts, Betancourt, Simpson, Vehtari, Gelman, arXiv:1804.06788, 2018).
//!
//! The filter is the one that ships: no likelihood is softened, and what the model leaves out is an explicit
//! part of it (wander of the colonies, stray of readings), of which the drawn histories have their share; the
//! climatology, which speaks for another model, is not pooled in.
//! `MEASURED.md` beside it gives the figures of several sets of seeds. Nuisance constants fare worse: with so few
//! possible tanks the share of true water volume comes out too sure (chi-square about 30 when last looked at).

use chrono::{DateTime, Duration, FixedOffset};
use rand::{Rng, RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal, StudentT};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;

use super::ahead::Ahead;
use super::deed::Setting;
use super::draw::tap_water;
use super::filter::{Filter, Settings};
use super::keeper::Keeper;
use super::observe::{GROSS, STEP_OFF, STEP_WIDTH, STRAY, expected, scale};
use super::particle::{Block, Particle};
use super::swarm::Swarm;
use super::timeline::{Timeline, What};
use crate::cycle::kinetics::WIDTH;
use crate::cycle::{Deed, TankHistory};
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind, TankFacts};

/// Histories drawn.
const DRAWS: usize = 120;
/// Groups of ranks, and the upper 0.1 % point of chi-square with one degree of freedom less.
const BINS: usize = 8;
const CHI_SQUARE_7: f64 = 24.32;
/// Length of a history, days.
const LENGTH: f64 = 22.0;
/// Standard uncertainty that the drawn readings claim, mg/L.
const SPREAD: f64 = 0.1;

/// A drawn history and the tank that made it.
struct Drawn {
    history: TankHistory,
    now: DateTime<FixedOffset>,
    block: Block,
}

fn facts() -> TankFacts {
    TankFacts {
        tank: "drawn".to_owned(),
        started_at: DateTime::parse_from_rfc3339("2031-03-01T00:00:00+00:00").ok(),
        volume_l: Some(100.0),
        temperature_c: Some(25.0),
        ammonia_source: Some("ammonium chloride".to_owned()),
        plants: Some("none".to_owned()),
        filter_flow: Some("normal".to_owned()),
        water_conditioner: Some("always".to_owned()),
        ..TankFacts::default()
    }
}

fn setting() -> Setting {
    Setting { tap: tap_water(&facts()), volume_l: 100.0, alkaline_dose: false }
}

/// What a kit shows where it ought to show `truth`: the error model of `observe`, drawn from.
fn show(analyte: Analyte, truth: f64, rng: &mut impl Rng) -> f64 {
    let (least, range) = scale(analyte);
    let sigma = (SPREAD.powi(2) + least.powi(2) + (STRAY * truth).powi(2)).sqrt();
    let heavy = StudentT::new(3.0).unwrap().sample(rng);
    let fate: f64 = rng.random();
    if fate < GROSS {
        range * rng.random::<f64>()
    } else if fate < GROSS + STEP_OFF {
        truth + heavy * (2.0 * sigma + STEP_WIDTH * truth)
    } else {
        truth + heavy * sigma
    }
}

/// Draws a tank and lets its keeper test every other day and dose whenever ammonia has gone.
fn draw(seed: u64) -> Drawn {
    let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0xfeed);
    let mut tank = Swarm::draw(&facts(), setting(), WIDTH, seed);
    let start = facts().started_at.unwrap();
    let at = |day: f64| start + Duration::seconds((day * 86_400.0) as i64);
    let (mut measurements, mut deeds) = (Vec::new(), Vec::new());
    let mut day = 0.0;
    while day + 2.0 <= LENGTH {
        let mut low = false;
        for analyte in [Analyte::Ammonia, Analyte::Nitrite] {
            let value = show(analyte, expected(&tank.blocks[0], analyte).unwrap().get(0), &mut rng);
            low |= analyte == Analyte::Ammonia && value < 0.5;
            measurements.push(Measurement {
                analyte,
                status: Status::Read,
                value: Some(value),
                low: Some(value - 1.96 * SPREAD),
                high: Some(value + 1.96 * SPREAD),
                taken_at: at(day),
                flags: Vec::new(),
            });
        }
        if low {
            let kind = EventKind::AmmoniaDose;
            tank.meet(What::Deed(kind, Some(2.0)));
            deeds.push(Deed {
                kind,
                amount: Some(2.0),
                at: at(day),
                note: String::new(),
                is_supposed: false,
            });
        }
        for _ in 0..2 {
            tank.advance(day, day + 1.0, 25.0);
            day += 1.0;
        }
    }
    let history = TankHistory { facts: facts(), measurements, deeds };
    Drawn { history, now: at(day), block: tank.blocks[0] }
}

/// Rank of `truth` among `sample` as a share, ties broken at random.
fn rank(truth: f64, sample: &[f64], rng: &mut impl Rng) -> f64 {
    let below = sample.iter().filter(|value| **value < truth).count() as f64;
    let equal = sample.iter().filter(|value| **value == truth).count() as f64;
    (below + (equal + 1.0) * rng.random::<f64>()) / (sample.len() as f64 + 1.0)
}

/// Chi-square of ranks against uniformity.
fn chi_square(ranks: &[f64]) -> f64 {
    let mut counts = [0.0; BINS];
    for rank in ranks {
        counts[((rank * BINS as f64) as usize).min(BINS - 1)] += 1.0;
    }
    let even = ranks.len() as f64 / BINS as f64;
    counts.iter().map(|count| (count - even).powi(2) / even).sum()
}

/// Picks one quantity of a tank.
type Pick = fn(&Particle) -> f64;

/// Where one drawn tank's truth lies.
struct Place {
    /// Ranks of the quantities picked, and last of the day of the proof.
    ranks: Vec<f64>,
    /// The date; none if the tank never passes or no date is in sight.
    date: Option<Date>,
}

/// How a date that is given compares with the truth.
#[derive(Clone, Copy)]
struct Date {
    /// What the log shows of nitrite.
    stage: &'static str,
    /// Whether the interval holds.
    held: bool,
    /// Length of the interval, days.
    width: f64,
    /// Distance of the likeliest day from the true one, days.
    error: f64,
}

/// How far nitrite has come by its readings.
fn stage(history: &TankHistory) -> &'static str {
    let nitrite = history.measurements.iter().filter(|test| test.analyte == Analyte::Nitrite);
    let levels: Vec<f64> = nitrite.filter_map(|test| test.value).collect();
    let most = levels.iter().copied().fold(0.0, f64::max);
    match levels.last() {
        Some(last) if most >= 0.3 && *last < 0.6 * most => "nitrite falling",
        Some(_) if most >= 0.3 => "nitrite rising or at its peak",
        _ => "no nitrite yet",
    }
}

/// Follows the history of one drawn tank with the filter as it ships.
fn place(seed: u64, picks: &[(&str, Pick)]) -> Place {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let drawn = draw(seed);
    let settings = Settings { particles: 12_000, scouts: 200, seed: seed + 10_000 };
    let posterior = Filter::run(&drawn.history, drawn.now, &settings);
    let truth = drawn.block.particle(0);
    let mut ranks: Vec<f64> =
        picks.iter().map(|(_, pick)| rank(pick(&truth), &posterior.each(pick), &mut rng)).collect();
    let ahead = Ahead { seed: seed + 20_000, ..posterior.ahead };
    let mut block = drawn.block;
    block.warm_to(25.0);
    let day = ahead.run(&[block]).days[0];
    ranks.push(rank(day, &posterior.outlook.days, &mut rng));
    let span = posterior.days_by_filter().filter(|_| day.is_finite() && posterior.never() <= 0.5);
    let date = span.map(|span| Date {
        stage: stage(&drawn.history),
        held: (span.low..=span.high).contains(&day),
        width: span.high - span.low,
        error: (span.middle - day).abs(),
    });
    Place { ranks, date }
}

/// What one set of drawn histories says.
struct Calibration {
    /// Ranks of each quantity.
    ranks: Vec<(&'static str, Vec<f64>)>,
    /// The dates that are given.
    dates: Vec<Date>,
}

/// Draws the set of histories that begins with `first_seed`.
fn calibrate(first_seed: u64) -> Calibration {
    let picks: [(&str, Pick); 4] = [
        ("ammonia oxidisers", |p| p.state.ammonia_oxidisers),
        ("nitrite oxidisers", |p| p.state.nitrite_oxidisers),
        ("nitrite", |p| p.state.nitrite),
        ("growth of ammonia oxidisers", |p| p.kinetics.growth_a),
    ];
    let seeds = first_seed..first_seed + DRAWS as u64;
    let all: Vec<Place> = seeds.into_par_iter().map(|seed| place(seed, &picks)).collect();
    let names = picks.iter().map(|(name, _)| *name).chain(["day of the proof"]);
    let ranks = names.enumerate().map(|(i, name)| (name, all.iter().map(|place| place.ranks[i]).collect()));
    Calibration { ranks: ranks.collect(), dates: all.iter().filter_map(|place| place.date).collect() }
}

/// How wide and how far off the dates are: what the filter reaches where its model is the truth.
fn told_of(dates: &[Date]) -> String {
    let stages = ["no nitrite yet", "nitrite rising or at its peak", "nitrite falling"];
    let of_stage = |stage| dates.iter().filter(|date| date.stage == stage).copied().collect::<Vec<Date>>();
    let rows = stages.into_iter().map(|stage| (stage, of_stage(stage)));
    rows.chain([("all", dates.to_vec())]).filter_map(|(name, chosen)| line_of(name, &chosen)).collect()
}

fn line_of(name: &str, dates: &[Date]) -> Option<String> {
    let count = dates.len();
    let mut errors: Vec<f64> = dates.iter().map(|date| date.error).collect();
    errors.sort_by(f64::total_cmp);
    let held = dates.iter().filter(|date| date.held).count();
    let width = dates.iter().map(|date| date.width).sum::<f64>() / count as f64;
    let error = errors.get(count / 2)?;
    Some(format!("{name}: {held} of {count} hold, {width:.1} d wide, median error {error:.1} d\n"))
}

/// `TINTWELL_RANK_SETS=5` tests five sets of histories instead of one; `TINTWELL_RANK_DATES=FILE` writes
/// down how wide and how far off their dates are.
#[test]
fn ranks_of_the_truth_are_uniform_over_histories_drawn_from_the_model() {
    let sets: u64 = std::env::var("TINTWELL_RANK_SETS").ok().and_then(|sets| sets.parse().ok()).unwrap_or(1);
    let mut told = String::new();
    for set in 0..sets {
        let Calibration { ranks, dates } = calibrate(5000 + 1000 * set);
        told += &told_of(&dates);
        if let Some(file) = std::env::var_os("TINTWELL_RANK_DATES") {
            std::fs::write(file, &told).unwrap();
        }
        for (name, ranks) in &ranks {
            let statistic = chi_square(ranks);
            assert!(statistic < CHI_SQUARE_7, "{name}: chi-square {statistic:.1}");
        }
        let (held, count) = (dates.iter().filter(|date| date.held).count(), dates.len());
        let share = held as f64 / count as f64;
        // Standard error of a share of 0.8; three of them make a false alarm one in four hundred.
        let error = (0.8 * 0.2 / count as f64).sqrt();
        assert!(count > DRAWS / 3, "only {count} dates");
        assert!((share - 0.8).abs() < 3.0 * error, "{held} of {count} 80 % intervals of the date hold");
    }
}

/// The rank test must be able to fail: ranks of a forecast that is always too sure pile up at the ends.
#[test]
fn the_rank_test_rejects_a_forecast_that_is_too_sure() {
    let mut rng = Pcg64Mcg::seed_from_u64(5);
    let ranks: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let sample: Vec<f64> = (0..99).map(|_| StandardNormal.sample(&mut rng)).collect();
            let truth: f64 = StandardNormal.sample(&mut rng);
            rank(2.0 * truth, &sample, &mut rng)
        })
        .collect();
    assert!(chi_square(&ranks) > CHI_SQUARE_7);
}

#[test]
fn a_drawn_keeper_is_recognised() {
    let drawn = draw(3);
    let keeper = Keeper::of(&Timeline::new(&drawn.history, drawn.now), &drawn.history.facts, 0.0);
    assert!((keeper.test_every - 2.0).abs() < 1e-9);
}
