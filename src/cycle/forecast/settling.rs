//! When the bacteria will keep up with the animals that live in the tank.
//!
//! With animals in the water no proof dose is given, and a colony that they feed may never be large enough
//! for one. What their keeper waits for is that ammonia and nitrite stay low.

use std::fmt;

use super::particle::Block;
use super::posterior::{DateSpan, Posterior};
use super::weighted::Weighted;
use crate::cycle::kinetics::WIDTH;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};

/// What colour tests hardly tell from zero, mg/L NH3 or NO2 (common practice, no source).
pub const LOW_MG_L: f64 = 0.25;
/// Days that both must stay low: before that a new tank's may only not have risen yet (judgement, no source).
const KEPT_DAYS: f64 = 14.0;

/// The days from which on both stay low, noted while a block of tanks is carried on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Settled {
    since: [f64; WIDTH],
    first: [f64; WIDTH],
}

impl Settled {
    /// Nothing is seen yet.
    pub fn unseen() -> Self {
        Self { since: [f64::INFINITY; WIDTH], first: [f64::INFINITY; WIDTH] }
    }

    /// Looks at the tanks `ahead` days from now.
    pub fn note(&mut self, block: &Block, ahead: f64) {
        for lane in 0..WIDTH {
            let ammonia = block.state.ammonia.get(lane) * NH3_PER_N;
            let nitrite = block.state.nitrite.get(lane) * NO2_PER_N;
            if ammonia > LOW_MG_L || nitrite > LOW_MG_L {
                self.since[lane] = f64::INFINITY;
                continue;
            }
            self.since[lane] = self.since[lane].min(ahead);
            if ahead - self.since[lane] >= KEPT_DAYS {
                self.first[lane] = self.first[lane].min(self.since[lane]);
            }
        }
    }

    /// Days from now; infinite where it was not seen.
    pub const fn days(&self) -> [f64; WIDTH] {
        self.first
    }
}

/// From when on ammonia and nitrite stay low, the animals fed as now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Settling {
    /// More likely than not they already do.
    Now,
    /// They begin to between these dates.
    Between(DateSpan),
    /// More likely than not they will not within the forecast.
    NotInSight,
}

/// What a tank's keeper waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Awaited {
    /// That a proof would pass.
    Proof,
    /// That ammonia and nitrite stay low: fish are in, and no proof is made.
    Settling,
}

impl Posterior {
    /// What is waited for in this tank.
    pub fn awaited(&self) -> Awaited {
        if self.ahead.fish > 0.0 { Awaited::Settling } else { Awaited::Proof }
    }

    /// From when on ammonia and nitrite stay low; `None` without fish in the log or with too few readings.
    pub fn settling(&self) -> Option<Settling> {
        let days = &self.outlook.settled;
        if self.awaited() == Awaited::Proof || self.evidence.ammonia.min(self.evidence.nitrite) == 0 {
            return None;
        }
        let more_than_half = |count: usize| 2 * count > days.len();
        if more_than_half(days.iter().filter(|day| **day == 0.0).count()) {
            return Some(Settling::Now);
        }
        let finite: Vec<f64> = days.iter().copied().filter(|day| day.is_finite()).collect();
        if !more_than_half(finite.len()) {
            return Some(Settling::NotInSight);
        }
        Some(Settling::Between(self.dates(Weighted::even(&finite).densest()?)))
    }
}

impl fmt::Display for Settling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Now => write!(
                f,
                "As the animals are kept and fed now, ammonia and nitrite are likely to stay below {LOW_MG_L} mg/L"
            ),
            Self::Between(dates) => write!(
                f,
                "As the animals are kept and fed now, ammonia and nitrite will begin to stay below {LOW_MG_L} mg/L {dates}"
            ),
            Self::NotInSight => write!(
                f,
                "As the animals are kept and fed now, ammonia or nitrite are likely to stand above {LOW_MG_L} mg/L for months: they are more than the bacteria are likely to manage"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::fixture::simulated;
    use crate::cycle::forecast::{Action, Filter, Settings};
    use crate::cycle::kinetics::{Lanes, Real};

    fn posterior(tank: &str) -> Posterior {
        let (history, now) = simulated(tank);
        Filter::run(&history, now, &Settings { particles: 4000, scouts: 400, seed: 1 })
    }

    /// Looks at a tank once a day, with so much nitrite, mg/L NO2.
    fn settled(nitrite: impl Fn(f64) -> f64) -> f64 {
        let mut block = posterior("tank_021").blocks[0];
        block.state.ammonia = Lanes::splat(0.0);
        let mut settled = Settled::unseen();
        for day in 0..=90 {
            block.state.nitrite = Lanes::splat(nitrite(f64::from(day)) / NO2_PER_N);
            settled.note(&block, f64::from(day));
        }
        settled.days()[0]
    }

    #[test]
    fn both_must_stay_low_for_two_weeks() {
        assert_eq!(settled(|_| 0.1), 0.0);
        assert_eq!(settled(|day| if day < 20.0 { 2.0 } else { 0.1 }), 20.0);
        let rises_after_ten_days = |day| if (10.0..30.0).contains(&day) { 2.0 } else { 0.1 };
        assert_eq!(settled(rises_after_ten_days), 30.0);
        assert_eq!(settled(|day| if day < 80.0 { 2.0 } else { 0.1 }), f64::INFINITY, "too late to be seen");
    }

    #[test]
    fn without_fish_a_proof_is_waited_for_and_nothing_settles() {
        let posterior = posterior("tank_011");
        assert_eq!(posterior.awaited(), Awaited::Proof);
        assert_eq!(posterior.settling(), None);
    }

    /// Medium of a running tank brings bacteria: never much later for it.
    #[test]
    fn with_fish_in_actions_are_compared_by_when_the_water_stays_low() {
        let posterior = posterior("tank_021");
        assert_eq!(posterior.awaited(), Awaited::Settling);
        assert!(posterior.settling().is_some());
        let compared = posterior.comparisons();
        let medium = compared.iter().find(|c| matches!(c.action, Action::MatureMedium { .. })).unwrap();
        assert!(medium.change.middle <= 0.0 && medium.change.high < 1.0, "{medium:?}");
        let late = posterior.outlook.settled.iter().filter(|day| day.is_infinite()).count();
        assert!(medium.never <= late as f64 / posterior.outlook.settled.len() as f64);
    }
}
