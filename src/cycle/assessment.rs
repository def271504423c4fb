//! The judgement of one tank at one moment.

use chrono::{DateTime, FixedOffset};

use super::advice::{Advice, advice};
use super::agreement::contradicted;
use super::animals::Animals;
use super::balance::{Balance, balance};
use super::capacity::{Capacity, capacity};
use super::danger::{Danger, dangers};
use super::faults::{Fault, Findings, find_faults};
use super::forecast::{DateSpan, Filter, Posterior, Settings, Span, Unforeseen};
use super::history::TankHistory;
use super::load::{Load, carried};
use super::plan::{ProofPlan, plan_proof};
use super::proof::{Outcome, Proof, latest_proof};
use super::readiness::{Chance, Obstacle, obstacles};
use super::series::Series;
use super::silence::silent_since;
use super::stage::{Stage, recent_supply, stage_on_the_way};
use super::stalls::{StallCause, Suspected, suspects};
use super::strike::Strike;
use super::window::Parts;
use crate::terms::Analyte;

/// A proof begun now is said to pass above these probabilities: after one that passed, without one in the log,
/// and after one that did not.
const WOULD_PASS: [f64; 3] = [0.3, 0.55, 0.65];
/// Why there may be no date for a tank with animals.
const NO_DATE_WITH_ANIMALS: &str = "it would be that of a proof by 2 mg/L ammonia, which must not be made with animals in the tank, and a colony that they feed may never be large enough for it";
/// Why there is no date for a tank with animals while something holds the bacteria back.
const NO_DATE_WHILE_STALLED: &str = "something holds the bacteria back that are to keep up with the animals: until it is mended none can be foreseen";
/// Why there is no date for a tank with animals soon after something that may have killed bacteria.
const NO_DATE_AFTER_STRIKE: &str = "something done within the last week may have killed bacteria, and how many live is not known before a week of tests";
/// Why there is no date where the forecast contradicts the readings.
const NO_DATE_AGAINST_READINGS: &str = "by the forecast other water would stand in the tank than was read, so that none of its dates can be trusted: look for what holds the bacteria back, and for anything that was done and not logged";
/// A proof begun today would pass above this chance.
const SURE_TO_PASS: f64 = 0.9;
/// Tests from which on a tank of unknown age is judged by them (judgement, no source).
pub const ENOUGH_TESTS: usize = 3;
/// Days within which a tank whose start is told is known to be new (common practice, no source).
const NEW_DAYS: f64 = 14.0;
/// A cause of a stall is named above this weight.
const NAMED: f64 = 0.5;

/// Where a tank stands, why, and what to do.
#[derive(Debug, Clone)]
pub struct Assessment {
    /// The tank's name.
    pub tank: String,
    /// The moment of judgement; nothing later was looked at.
    pub at: DateTime<FixedOffset>,
    /// Days since the tank was filled.
    pub day: f64,
    /// Whether the keeper told when the tank was filled; if not, the first entry stands for it.
    pub is_age_told: bool,
    /// Number of tests that the judgement rests on.
    pub tests: usize,
    /// When the last entry was made, if nothing has been logged for long.
    pub silent_since: Option<DateTime<FixedOffset>>,
    /// Stage.
    pub stage: Stage,
    /// How the proof in the log came out.
    pub outcome: Outcome,
    /// The proof in the log, with its evidence.
    pub proof: Option<Proof>,
    /// Whether animals may come.
    pub ready: bool,
    /// What stands against readiness.
    pub obstacles: Vec<Obstacle>,
    /// Probability that a proof begun now would pass.
    pub passes_now: f64,
    /// When it will be ready, 80 % interval; `None` when ready or not to be foreseen.
    pub ready_on: Option<DateSpan>,
    /// Why there is no date.
    pub unforeseen: Option<&'static str>,
    /// Why it is stalled, if it is.
    pub stall_cause: Option<StallCause>,
    /// Everything that may hold it back, the likeliest first.
    pub stall: Vec<Suspected>,
    /// Faults of the log.
    pub faults: Vec<Fault>,
    /// From when on faults were looked for, if not over all of the log.
    pub searched_from: Option<DateTime<FixedOffset>>,
    /// Readings left out, and why.
    pub left_out: Vec<String>,
    /// The nitrogen balance of the log as it stands, faults and all.
    pub balance: Balance,
    /// Whether animals live in the tank.
    pub animals: Animals,
    /// What shows that the bacteria keep up with them.
    pub load: Option<Load>,
    /// What may have killed bacteria that animals in the tank need, within the last week.
    pub strike: Option<Strike>,
    /// What stands in the water against published criteria.
    pub dangers: Vec<Danger>,
    /// What the colonies have been shown to do.
    pub capacity: Capacity,
    /// How to prove the cycle.
    pub plan: ProofPlan,
    /// What to do today, the most urgent first.
    pub advice: Vec<Advice>,
    /// The kinetic forecast.
    pub posterior: Posterior,
    /// Whether the forecast agrees with what was read; if not, nothing is foreseen by it.
    pub forecast_holds: bool,
    /// The log as numbers, faults mended.
    pub series: Series,
}

impl Assessment {
    /// Whether it counts as ready by its proof although all readings together rather speak against another.
    pub fn is_ready_but_doubted(&self) -> bool {
        self.ready && self.passes_now < 0.5
    }

    /// When the entries were made that tell the stage, if that is long ago: it may be another today.
    ///
    /// Of a tank that starves the silence itself tells.
    pub fn told_on(&self) -> Option<DateTime<FixedOffset>> {
        let starves = matches!(self.stall_cause, Some(StallCause::NoAmmoniaSource | StallCause::Starvation));
        self.silent_since.filter(|_| !self.ready && !starves && self.stage != Stage::Cycled)
    }

    /// Whether nothing tells yet what the bacteria do: hardly a test shows it, and for all that is known the tank
    /// may have been running for long.
    pub fn is_hardly_known(&self) -> bool {
        let is_new = self.is_age_told && self.day < NEW_DAYS;
        let is_shown = self.ready || self.outcome != Outcome::NotShown || self.stall_cause.is_some();
        self.tests < ENOUGH_TESTS && !is_new && !is_shown
    }

    /// Why it is stalled, in words; nothing if it is not.
    pub fn stall_sentence(&self) -> Option<&'static str> {
        self.stall_cause.and_then(|_| self.stall.first()).map(Suspected::sentence)
    }

    /// Expected course of `analyte` in its default unit, one span for each coming day; empty if nothing is foreseen.
    pub fn course(&self, analyte: Analyte) -> Vec<Span> {
        if self.forecast_holds { self.posterior.course(analyte) } else { Vec::new() }
    }
}

/// Judges `history` at `now`.
pub fn assess(history: &TankHistory, now: DateTime<FixedOffset>) -> Assessment {
    let parts = Parts::of(history, now);
    let Findings { faults, mended, series, track } = find_faults(&parts.recent, now);
    let searched_from = parts.opened.map(|opened| opened.with_timezone(&now.timezone()));
    let series = if parts.older.is_empty() { series } else { Series::new(&parts.joined(&mended), now) };
    let facts = &history.facts;
    let posterior = Filter::run(&mended, now, &Settings::default());
    let proof = latest_proof(&series, facts, &track);
    let as_logged = Series::new(history, now);
    let drawn = balance(&as_logged, facts);
    let forecast_holds = contradicted(&posterior, &track.now).is_none();
    let chance = Chance::of(&track, &posterior, forecast_holds);
    let passes_now = chance.passes_now;
    let obstacles = obstacles(&series, facts, chance, proof.as_ref(), drawn.alkalinity_meq_l);
    let ready = obstacles.is_empty();
    let stall = if ready { Vec::new() } else { suspects(&series, facts, &track, &posterior, proof.as_ref()) };
    let is_nameable = |first: &&Suspected| {
        // That nothing feeds a colony is told by what its tests show, too.
        let is_shown = first.cause != StallCause::NoAmmoniaSource || series.samples.len() >= ENOUGH_TESTS;
        first.weight > NAMED && is_shown
    };
    let stall_cause = stall.first().filter(is_nameable).map(|first| first.cause);
    let stage = if ready {
        Stage::Cycled
    } else if stall_cause.is_some() {
        Stage::Stalled
    } else if passes_now > would_pass(proof.as_ref()) {
        Stage::Cycled
    } else {
        stage_on_the_way(&track.now, recent_supply(&series, facts))
    };
    let animals = Animals::of(&series, facts);
    let load = (animals == Animals::Present).then(|| carried(&series, facts, &drawn)).flatten();
    let strike = (animals == Animals::Present).then(|| Strike::of(&series, facts)).flatten();
    let is_stalled = stage == Stage::Stalled;
    let (ready_on, unforeseen) = match date(&posterior, chance, animals, is_stalled, now) {
        _ if ready => (None, None),
        _ if strike.is_some() => (None, Some(NO_DATE_AFTER_STRIKE)),
        Ok(on) => (Some(on), None),
        Err(why) => (None, Some(why)),
    };
    let capacity = capacity(&track.now, facts, proof.as_ref());
    let mut assessment = Assessment {
        tank: facts.tank.clone(),
        at: now,
        day: series.now,
        is_age_told: facts.started_at.is_some(),
        tests: series.samples.len(),
        silent_since: silent_since(&series).map(|day| series.moment(day).with_timezone(&now.timezone())),
        stage,
        outcome: proof.as_ref().map_or(Outcome::NotShown, |proof| proof.outcome),
        proof,
        ready,
        obstacles,
        passes_now,
        ready_on,
        unforeseen,
        stall_cause,
        stall,
        faults,
        searched_from,
        left_out: as_logged.left_out,
        animals,
        load,
        strike,
        capacity,
        dangers: dangers(&series, facts),
        plan: plan_proof(&series, facts, &drawn),
        balance: drawn,
        advice: Vec::new(),
        posterior,
        forecast_holds,
        series,
    };
    assessment.advice = advice(&assessment, &assessment.series, facts);
    assessment
}

/// The probability above which a proof begun now is said to pass.
fn would_pass(proof: Option<&Proof>) -> f64 {
    match proof.map(|proof| proof.outcome) {
        Some(Outcome::Passed) => WOULD_PASS[0],
        None => WOULD_PASS[1],
        Some(Outcome::Failed | Outcome::NotShown) => WOULD_PASS[2],
    }
}

/// The interval of dates for a tank that is not ready, or why there is none.
///
/// Without animals the date of a stalled tank stands: it is that of going on as before, the cause and all. With
/// them in the tank things may not go on so.
fn date(
    posterior: &Posterior,
    chance: Chance,
    animals: Animals,
    is_stalled: bool,
    now: DateTime<FixedOffset>,
) -> Result<DateSpan, &'static str> {
    let today = DateSpan { earliest: now, likely: now, latest: now };
    match posterior.ready_on() {
        Err(why @ (Unforeseen::TooFewReadings | Unforeseen::NoSource)) => Err(why.what_is_missing()),
        _ if is_stalled && animals == Animals::Present => Err(NO_DATE_WHILE_STALLED),
        _ if chance.by_readings_alone && chance.passes_now > SURE_TO_PASS => Ok(today),
        _ if chance.by_readings_alone => Err(NO_DATE_AGAINST_READINGS),
        Ok(on) => Ok(on),
        // Not proved, but a proof begun today would pass.
        Err(Unforeseen::ReadyNow) => Ok(today),
        Err(Unforeseen::NotInSight) if animals == Animals::Present => Err(NO_DATE_WITH_ANIMALS),
        Err(why) => Err(why.what_is_missing()),
    }
}
