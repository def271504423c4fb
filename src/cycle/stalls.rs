//! What holds the cycle back, ranked by how well each cause explains the readings.

use serde::Serialize;

use super::alkalinity::RESERVE_MEQ_L;
use super::animals::Animals;
use super::forecast::{Action, Hindrance, Posterior};
use super::proof::{Outcome, Proof};
use super::series::{DatedDeed, Level, RECENT_DAYS, Series};
use super::track::{Cloud, Particle, Source, Track, can_pass, proof_end};
use crate::terms::unit::NO2_PER_N;
use crate::terms::{Analyte, EventKind, TankFacts};

/// Why a cycle does not get on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StallCause {
    /// Nothing feeds a colony that never was.
    NoAmmoniaSource,
    /// A colony that worked is lost, or being lost, for want of ammonia.
    Starvation,
    /// The alkalinity is used up and the water turns acid.
    PhCrash,
    /// So much ammonia that it poisons both colonies.
    TooMuchAmmonia,
    /// The water is too cold.
    Cold,
    /// Too little oxygen reaches the bacteria.
    LowOxygen,
    /// Disinfectant of untreated tap water killed bacteria.
    Chlorine,
}

impl StallCause {
    /// The word used in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NoAmmoniaSource => "no_ammonia_source",
            Self::Starvation => "starvation",
            Self::PhCrash => "ph_crash",
            Self::TooMuchAmmonia => "too_much_ammonia",
            Self::Cold => "cold",
            Self::LowOxygen => "low_oxygen",
            Self::Chlorine => "chlorine",
        }
    }

    /// The cause in words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NoAmmoniaSource => "nothing gives ammonia to the bacteria, so none can grow",
            Self::Starvation => "a colony that worked is lost, or being lost, for want of ammonia",
            Self::PhCrash => "the water's buffer is used up and it has turned too acid for the bacteria",
            Self::TooMuchAmmonia => "so much ammonia stands in the water that it poisons the bacteria",
            Self::Cold => "the water is so cold that the bacteria hardly grow",
            Self::LowOxygen => "too little oxygen reaches the bacteria",
            Self::Chlorine => "disinfectant in tap water has killed bacteria",
        }
    }

    /// The one observation that would show whether this is the cause; with animals in the tank, or perhaps,
    /// none that takes a dose of ammonia.
    pub fn deciding_observation(self, animals: Animals) -> &'static str {
        match self {
            Self::NoAmmoniaSource | Self::Starvation if animals != Animals::Absent => {
                "test ammonia and nitrite daily for a week, and log what the tank is fed with"
            }
            Self::NoAmmoniaSource | Self::Starvation => {
                "dose 2 mg/L ammonia and test ammonia and nitrite 24 h later"
            }
            Self::PhCrash => "test the pH and the alkalinity of the tank today",
            Self::TooMuchAmmonia => {
                "test ammonia in a sample diluted one to nine with distilled water, and multiply by ten"
            }
            Self::Cold => "measure the water temperature",
            Self::LowOxygen => "look at the filter's flow and the water's surface; measure oxygen if you can",
            Self::Chlorine => "test the tap water for chlorine, and ask the supplier about chloramine",
        }
    }
}

/// A cause with how much speaks for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspected {
    /// The cause.
    pub cause: StallCause,
    /// How well it explains the readings, 0 to 1; above one half it is named.
    pub weight: f64,
    /// Whether nothing speaks for it but that nothing else in the log explains the readings.
    pub by_exclusion: bool,
}

impl Suspected {
    /// The cause in words, no surer than it is.
    pub const fn sentence(&self) -> &'static str {
        if self.by_exclusion {
            "bacteria that took the ammonia no longer do, and nothing in the log tells why: too little oxygen, as in a clogged filter, would explain it, and so would medicine or a spoilt test"
        } else {
            self.cause.sentence()
        }
    }
}

/// Mending the cause must make the proof pass sooner than this share of the time, and by so many days.
const FAR_LATER: (f64, f64) = (1.6, 7.0);
/// Below this share of full speed a hindrance alone counts as a stall.
const AT_A_STANDSTILL: f64 = 0.3;
/// Longest time after disinfectant was poured in for which it explains a loss, days.
const CHLORINE_DAYS: f64 = 14.0;
/// Days without ammonia from which on a colony is lost rather than idle: published decay of 0.05 to 0.17 a
/// day halves it in 4 to 14 days.
const HUNGER_DAYS: f64 = 5.0;
/// Days without ammonia from which on nobody is about to feed: left as it is, the tank passes never.
const ABANDONED_DAYS: f64 = 30.0;
/// Ammonia oxidised in a day by a colony that works, mg/L N.
const WORKING: f64 = 0.6;
/// Share of full speed below which want of oxygen is looked into.
const SHORT_OF_BREATH: f64 = 0.75;
/// A rate that falls below this share of its best while ammonia stands has fallen for a reason.
const FALLEN: f64 = 0.4;
/// Weight of want of oxygen where a rate fell and nothing else explains it.
const UNEXPLAINED: f64 = 0.55;
/// Chance that a cleaning of the filter or medicine explains it, if there was one (judgement, no source).
const STRUCK: f64 = 0.5;
/// Fall of the pH that may explain a fallen rate (judgement, no source).
const PH_FALL: f64 = 0.5;
/// Nitrite that no test without any takes for some, mg/L N: the first colour of common charts.
const NITRITE_STOOD: f64 = 0.25 / NO2_PER_N;
/// Days looked ahead; never counts as this.
const HORIZON: f64 = 90.0;

/// Everything that may hold the tank back, the likeliest first.
pub fn suspects(
    series: &Series,
    facts: &TankFacts,
    track: &Track,
    posterior: &Posterior,
    proof: Option<&Proof>,
) -> Vec<Suspected> {
    let Some(hindrance) = posterior.hindrance() else { return Vec::new() };
    let bench = Bench { series, facts, track, posterior, hindrance };
    let hungry = bench.hunger();
    let worked = proof.is_some_and(|proof| proof.outcome == Outcome::Passed) || bench.worked_once();
    let lack = if worked { StallCause::Starvation } else { StallCause::NoAmmoniaSource };
    let mut all: Vec<Suspected> = [
        (lack, hungry),
        (StallCause::PhCrash, bench.acid().max(bench.acid_as_read())),
        (StallCause::TooMuchAmmonia, bench.poison()),
        (StallCause::Cold, bench.cold()),
        (StallCause::LowOxygen, bench.breathless().max(bench.unexplained())),
        (StallCause::Chlorine, bench.chlorine()),
    ]
    .into_iter()
    .map(|(cause, weight)| {
        let by_exclusion = cause == StallCause::LowOxygen && bench.breathless() < weight;
        Suspected { cause, weight, by_exclusion }
    })
    .filter(|suspected| suspected.weight > 0.1)
    .collect();
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    all
}

/// Speed of nitrification at `ph`, share of that at 7.2 and above.
///
/// Downing's correction, 1 - 0.833 (7.2 - pH), which the EPA's manual of 1975 uses; from memory.
fn speed_at_ph(ph: f64) -> f64 {
    (1.0 - 0.833 * (7.2 - ph)).clamp(0.0, 1.0)
}

struct Bench<'a> {
    series: &'a Series,
    facts: &'a TankFacts,
    track: &'a Track,
    posterior: &'a Posterior,
    hindrance: Hindrance,
}

impl Bench<'_> {
    /// Median days to the proof, the keeper going on as before.
    fn days(&self) -> f64 {
        self.posterior.days_quantile(0.5).unwrap_or(HORIZON).min(HORIZON)
    }

    /// How much `action` would bring the proof forward: 1 if far, 0 if not.
    fn rescued_by(&self, action: Action) -> f64 {
        let Some(mended) = self.posterior.what_if(action) else { return 0.0 };
        let (now, then) = (self.days(), mended.days.middle.min(HORIZON));
        let never_less = (self.posterior.never() - mended.never).max(0.0);
        // The same courses with and without the action: their difference is surer than either.
        let far = now > FAR_LATER.0 * then.max(1.0) && -mended.change.middle > FAR_LATER.1;
        if far { never_less.max(0.6) } else { 0.6 * never_less }
    }

    fn hunger(&self) -> f64 {
        let fed = |kind| matches!(kind, EventKind::AmmoniaDose | EventKind::Food | EventKind::FishAdded);
        let last_fed = self.series.deeds.iter().rev().find(|deed| fed(deed.deed.kind)).map_or(0.0, |d| d.day);
        let stands = |level: Level| level.value - level.sd > 0.08;
        let last_seen = self
            .series
            .samples
            .iter()
            .rev()
            .find(|sample| sample.ammonia.is_some_and(stands))
            .map_or(0.0, |sample| sample.day);
        let fish = Animals::of(self.series, self.facts) == Animals::Present;
        let idle = self.series.now - last_fed.max(last_seen);
        if fish || idle < HUNGER_DAYS || self.gives_up_to_now(idle) < 1.5 {
            return 0.0;
        }
        if idle > ABANDONED_DAYS {
            return self.posterior.never();
        }
        self.rescued_by(Action::Redose { up_to: 2.0 }).max(0.4 * self.posterior.never())
    }

    /// How much longer the tank has gone without ammonia than the keeper usually lets it.
    fn gives_up_to_now(&self, idle: f64) -> f64 {
        let days: Vec<f64> = self.series.of_kind(EventKind::AmmoniaDose).map(|dose| dose.day).collect();
        let mut gaps: Vec<f64> = days.windows(2).map(|pair| pair[1] - pair[0]).collect();
        gaps.sort_by(f64::total_cmp);
        idle / gaps.get(gaps.len() / 2).copied().unwrap_or(3.0).max(1.0)
    }

    /// Whether a proof would once have passed.
    fn worked_once(&self) -> bool {
        let passes = |particle: &Particle| can_pass(particle) && proof_end(particle).passes();
        self.track.after.iter().rev().any(|cloud| cloud.mostly(0.6, passes)) || self.worked_before()
    }

    /// Whether nitrite stood and went before the time that is followed: both steps worked then.
    fn worked_before(&self) -> bool {
        let followed = self.track.after.first().map_or(self.series.now, |cloud| cloud.day);
        let before = || self.series.samples.iter().filter(move |sample| sample.day < followed);
        let stood = before().find(|sample| sample.nitrite.is_some_and(|level| level.lower() > NITRITE_STOOD));
        let gone = |level: Option<Level>| level.is_some_and(|level| level.reaches_zero);
        stood.is_some_and(|stood| {
            before().any(|sample| sample.day > stood.day && gone(sample.ammonia) && gone(sample.nitrite))
        })
    }

    fn acid(&self) -> f64 {
        let speed = self.hindrance.acidity[0].min(self.hindrance.acidity[1]);
        if speed < AT_A_STANDSTILL {
            return 1.0 - speed;
        }
        if speed > 0.65 { 0.0 } else { self.rescued_by(Action::Alkalinity { rise: 2.0 }) }
    }

    fn poison(&self) -> f64 {
        // Both groups must suffer: nitrite oxidisers alone are often slowed in a sound start-up.
        let speed = self.hindrance.poison[0];
        if speed < 0.6 { 1.0 - 0.5 * speed } else { 0.0 }
    }

    fn cold(&self) -> f64 {
        let speed = self.hindrance.temperature[0].min(self.hindrance.temperature[1]);
        if speed > 0.7 {
            return 0.0;
        }
        self.rescued_by(Action::Warm { celsius: 26.0 }).max(if speed < 0.45 { 1.0 - speed } else { 0.0 })
    }

    fn breathless(&self) -> f64 {
        let speed = self.hindrance.oxygen[0].min(self.hindrance.oxygen[1]);
        let weak = self.facts.filter_flow.as_deref() == Some("weak");
        if speed < SHORT_OF_BREATH || weak { self.rescued_by(Action::MoreOxygen) } else { 0.0 }
    }

    /// How much of a fallen rate is left for want of oxygen to explain: the log holds no test of it.
    fn unexplained(&self) -> f64 {
        let Some(fastest) = self.fell_since() else { return 0.0 };
        UNEXPLAINED * self.acid_speed_since(fastest).unwrap_or(1.0) * (1.0 - self.struck_since(fastest))
    }

    /// The day on which the colony was fastest, if ammonia stands that it no longer takes.
    fn fell_since(&self) -> Option<f64> {
        let quartile = |cloud: &Cloud, share| cloud.quantiles(|particle| particle.ammonia_rate, [share])[0];
        let rates = self.track.after.iter().map(|cloud| (cloud.day, quartile(cloud, 0.25)));
        let (day, fastest) = rates.max_by(|a, b| a.1.total_cmp(&b.1))?;
        let stands = self.track.now.probability(|particle| particle.ammonia > 0.25) > 0.6;
        let fell = stands && fastest > WORKING && quartile(&self.track.now, 0.75) < FALLEN * fastest;
        fell.then_some(day)
    }

    /// How far the acid that was read explains a fallen rate: the forecast may take a low pH for carbonic acid.
    fn acid_as_read(&self) -> f64 {
        let speed = self.fell_since().and_then(|fastest| self.acid_speed_since(fastest));
        speed.map_or(0.0, |speed| 1.0 - speed)
    }

    /// Speed of nitrification at the latest pH, share of that at 7.2, if it has fallen since `day` and no test says
    /// that the buffer is there.
    fn acid_speed_since(&self, day: f64) -> Option<f64> {
        let recent = |analyte| {
            let (on, level) = self.series.latest(analyte)?;
            (self.series.now - on <= RECENT_DAYS).then_some(level)
        };
        let now = recent(Analyte::Ph)?;
        let before = self.series.samples.iter().filter(|sample| sample.day <= day);
        let before = before.filter_map(|sample| sample.ph).next_back();
        let fell = before.is_some_and(|before| before.value - now.value >= PH_FALL);
        let is_buffered = recent(Analyte::Alkalinity).is_some_and(|level| level.lower() > RESERVE_MEQ_L);
        (fell && !is_buffered).then(|| speed_at_ph(now.value))
    }

    /// Chance that something done since `day` killed bacteria enough to explain a fallen rate.
    fn struck_since(&self, day: f64) -> f64 {
        let source = Source::new(self.facts);
        let chance = |dated: &DatedDeed| match dated.deed.kind {
            EventKind::FilterCleaned | EventKind::Medicine => STRUCK,
            EventKind::WaterChange => source.chance_of_poison(&dated.deed),
            _ => 0.0,
        };
        let since = self.series.deeds.iter().filter(|dated| dated.day >= day);
        since.map(chance).fold(0.0, f64::max)
    }

    fn chlorine(&self) -> f64 {
        let source = Source::new(self.facts);
        let recent = |deed: &&DatedDeed| {
            let poured = match deed.deed.kind {
                EventKind::WaterChange => true,
                EventKind::FilterCleaned => source.likely_poisons(&deed.deed),
                _ => false,
            };
            poured && self.series.now - deed.day < CHLORINE_DAYS
        };
        let Some(poured) = self.series.deeds.iter().find(recent) else { return 0.0 };
        let before = self.track.after.iter().rev().find(|cloud| cloud.day <= poured.day);
        let worked = before.is_some_and(|cloud| cloud.probability(|p| p.ammonia_rate > WORKING) > 0.5);
        if !worked || source.poison_chance() == 0.0 {
            return 0.0;
        }
        self.track.now.probability(|particle| particle.survival < 0.5)
    }
}
