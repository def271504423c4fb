//! Walks a history and keeps the possible tanks that agree with it.

use chrono::{DateTime, FixedOffset};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use super::ahead::{Ahead, proofs};
use super::climatology::{Signs, weights};
use super::deed::Setting;
use super::draw::{remainder, tap_water};
use super::keeper::Keeper;
use super::posterior::{Evidence, Posterior};
use super::swarm::Swarm;
use super::timeline::Timeline;
use crate::cycle::TankHistory;
use crate::cycle::kinetics::Real;
use crate::terms::{Analyte, EventKind};

/// Longest stretch over which conditions are taken as constant, days.
const STRETCH: f64 = 1.0;

/// What happens within so many days (40 minutes) is taken as simultaneous: a test and its answer.
const SIMULTANEOUS: f64 = 0.028;

/// Volume assumed where the keeper gives none, litres: it matters for food and fish alone.
const USUAL_VOLUME: f64 = 100.0;

/// How much work to put in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Possible tanks that follow the history.
    pub particles: usize,
    /// Of these, how many are carried on into the forecast.
    pub scouts: usize,
    /// Seed: the same history and seed give the same forecast.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self { particles: 20_000, scouts: 800, seed: 1 }
    }
}

/// The Bayesian filter: sequential Monte Carlo over the water, the colonies and their constants.
#[derive(Debug, Clone, Copy)]
pub struct Filter;

impl Filter {
    /// Follows `history` up to `now`; later entries are not looked at.
    pub fn run(history: &TankHistory, now: DateTime<FixedOffset>, settings: &Settings) -> Posterior {
        let timeline = Timeline::new(history, now);
        let facts = &history.facts;
        let setting = Setting {
            tap: tap_water(facts),
            volume_l: facts.volume_l.filter(|litres| *litres > 0.0).unwrap_or(USUAL_VOLUME),
            alkaline_dose: facts.ammonia_source.as_deref() == Some("ammonia solution"),
        };
        let mut swarm = Swarm::draw(facts, setting, settings.particles, settings.seed);
        if let Some(day) = timeline.opens_late() {
            swarm.settle(timeline.first_levels(day));
        }
        follow(&mut swarm, &timeline);

        let mut blocks = swarm.pick(settings.scouts);
        let celsius = timeline.celsius(timeline.now);
        let mut rng = Pcg64Mcg::seed_from_u64(settings.seed);
        for block in &mut blocks {
            block.warm_to(celsius);
            block.live_in(timeline.now, swarm.fish(), setting.volume_l);
            // No reading bears on it, so it is as wide as at first, though few ancestors are left.
            block.traits.remainder = block.traits.remainder.map(|_| remainder(&mut rng));
        }
        let ahead = Ahead {
            setting,
            keeper: Keeper::of(&timeline, facts, swarm.fish()),
            now: timeline.now,
            fish: swarm.fish(),
            watch_settling: true,
            seed: settings.seed,
            course_days: 15,
        };
        let outlook = ahead.run(&blocks);
        let signs = Signs::of(&timeline, &blocks);
        Posterior {
            ends: blocks.iter().flat_map(proofs).collect(),
            weights: weights(&outlook.days, &signs),
            signs,
            outlook,
            evidence: evidence(&timeline, swarm.fish()),
            blocks,
            ahead,
            now,
            celsius,
            chart_top: facts.chart_top,
        }
    }
}

/// Walks the whole timeline.
pub(super) fn follow(swarm: &mut Swarm, timeline: &Timeline) {
    let mut day = timeline.opens_late().unwrap_or(0.0);
    for moment in &timeline.moments {
        if moment.day - day > SIMULTANEOUS {
            walk(swarm, timeline, day, moment.day);
            day = moment.day;
        }
        swarm.meet(moment.what);
    }
    walk(swarm, timeline, day, timeline.now);
}

/// Moves the swarm from one day to another in stretches of constant conditions.
fn walk(swarm: &mut Swarm, timeline: &Timeline, from: f64, to: f64) {
    let stretches = ((to - from) / STRETCH).ceil().max(1.0);
    let length = (to - from) / stretches;
    for index in 0..stretches as usize {
        let begin = from + index as f64 * length;
        swarm.advance(begin, begin + length, timeline.celsius(begin + 0.5 * length));
    }
}

/// What the forecast rests on.
fn evidence(timeline: &Timeline, fish: f64) -> Evidence {
    let any = |kind| timeline.deeds(kind).next().is_some();
    Evidence {
        ammonia: timeline.readings(Analyte::Ammonia).count(),
        nitrite: timeline.readings(Analyte::Nitrite).count(),
        source: fish > 0.0 || any(EventKind::AmmoniaDose) || any(EventKind::Food),
    }
}
