//! What an action today would do to the date of readiness.

use std::fmt;

use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use super::ahead::{Ahead, HORIZON, Outlook};
use super::keeper::Redosing;
use super::posterior::Posterior;
use super::quantile::Span;
use super::settling::Awaited;
use super::weighted::Weighted;
use crate::cycle::kinetics::WIDTH;
use crate::terms::EventKind;

/// Share of oxygen saturation that a brisk flow keeps at the biofilm (rough; no source).
const BRISK: f64 = 0.95;

/// Something the keeper might do today.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// Nothing but what is the habit.
    GoOn,
    /// Move in medium from a running tank, as a share of the filter.
    MatureMedium {
        /// Per cent of the filter.
        percent: f64,
    },
    /// Set the heater to this temperature.
    Warm {
        /// Degrees Celsius.
        celsius: f64,
    },
    /// Bring the flow up, so that oxygen reaches the bacteria.
    MoreOxygen,
    /// Dose ammonia up to this level now and whenever it has gone.
    Redose {
        /// mg/L NH3.
        up_to: f64,
    },
    /// Change water once, today.
    WaterChange {
        /// Per cent of the volume.
        percent: f64,
    },
    /// Raise the alkalinity, today.
    Alkalinity {
        /// meq/L.
        rise: f64,
    },
}

/// An action's forecast beside that of going on as before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// The action.
    pub action: Action,
    /// Days from now until what is waited for.
    pub days: Span,
    /// How many days later (negative: earlier) than going on; never counts as the horizon.
    pub change: Span,
    /// Probability that it does not come about within the horizon.
    pub never: f64,
}

impl Action {
    /// The actions worth comparing for most tanks.
    pub const USUAL: [Self; 6] = [
        Self::MatureMedium { percent: 20.0 },
        Self::Warm { celsius: 28.0 },
        Self::MoreOxygen,
        Self::Redose { up_to: 2.0 },
        Self::WaterChange { percent: 50.0 },
        Self::Alkalinity { rise: 1.0 },
    ];
}

impl Posterior {
    /// The usual actions that fit this tank, most helpful first: no dosing with animals in, no
    /// warming of a warm tank.
    ///
    /// Waited for is the first proof that would pass, or, with fish in, that ammonia and nitrite stay low.
    pub fn comparisons(&self) -> Vec<Comparison> {
        let fits = |action: &Action| match action {
            Action::Redose { .. } => self.ahead.fish <= 0.0,
            Action::Warm { celsius } => self.celsius < celsius - 1.0,
            _ => true,
        };
        let mut compared: Vec<Comparison> =
            Action::USUAL.into_iter().filter(fits).filter_map(|action| self.compared(action)).collect();
        compared.sort_by(|a, b| a.change.middle.total_cmp(&b.change.middle));
        compared
    }

    /// What `action` would change about the first proof that would pass, if the keeper otherwise goes on as
    /// before; by the filter alone, as verdicts are.
    pub fn what_if(&self, action: Action) -> Option<Comparison> {
        self.proof_with(action, &vec![1.0; self.weights.len()])
    }

    /// The same, each possible tank with its weight.
    fn proof_with(&self, action: Action, weights: &[f64]) -> Option<Comparison> {
        Comparison::of(action, &self.outlook_with(action, false).days, &self.outlook.days, weights)
    }

    /// What `action` would change about what this tank's keeper waits for.
    fn compared(&self, action: Action) -> Option<Comparison> {
        match self.awaited() {
            Awaited::Proof => self.proof_with(action, &self.weights),
            Awaited::Settling => {
                let (with, without) = (self.outlook_with(action, true).settled, &self.outlook.settled);
                Comparison::of(action, &with, without, &vec![1.0; with.len()])
            }
        }
    }

    /// What becomes of each possible tank if `action` is done today.
    fn outlook_with(&self, action: Action, watch_settling: bool) -> Outlook {
        let mut blocks = self.blocks.clone();
        let mut ahead = Ahead { course_days: 0, watch_settling, ..self.ahead };
        let mut rng = Pcg64Mcg::seed_from_u64(ahead.seed);
        if let Action::Redose { up_to } = action {
            ahead.keeper.redosing = Redosing::WhenLow { below: 0.5, up_to };
            ahead.keeper.last_test = ahead.now - ahead.keeper.test_every;
        }
        let deed = match action {
            Action::MatureMedium { percent } => Some((EventKind::MatureMedium, percent)),
            Action::WaterChange { percent } => Some((EventKind::WaterChange, percent)),
            Action::Alkalinity { rise } => Some((EventKind::AlkalinityDose, rise)),
            _ => None,
        };
        for block in &mut blocks {
            for lane in 0..WIDTH {
                let mut particle = block.particle(lane);
                if let Some((kind, amount)) = deed {
                    ahead.setting.apply(kind, Some(amount), &mut particle, &mut rng);
                }
                if action == Action::MoreOxygen {
                    particle.kinetics.oxygen_share = particle.kinetics.oxygen_share.max(BRISK);
                }
                block.set_particle(lane, &particle);
            }
            block.warm_to(if let Action::Warm { celsius } = action { celsius } else { self.celsius });
        }
        ahead.run(&blocks)
    }
}

impl Comparison {
    /// Compares the days `with` the action and `without` it, tank by tank, each with its weight; `None` if there
    /// are none.
    fn of(action: Action, with: &[f64], without: &[f64], weights: &[f64]) -> Option<Self> {
        let shift = |(with, without): (&f64, &f64)| with.min(HORIZON) - without.min(HORIZON);
        let change: Vec<f64> = with.iter().zip(without).map(shift).collect();
        let (days, change) = (Weighted::new(with, weights), Weighted::new(&change, weights));
        Some(Self { action, days: days.span()?, change: change.span()?, never: days.infinite() })
    }
}

impl fmt::Display for Action {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::GoOn => write!(f, "go on as before"),
            Self::MatureMedium { percent } => {
                write!(f, "move in mature medium, {percent:.0} % of the filter")
            }
            Self::Warm { celsius } => write!(f, "warm the water to {celsius:.0} degC"),
            Self::MoreOxygen => write!(f, "bring the filter's flow up for more oxygen"),
            Self::Redose { up_to } => write!(f, "dose ammonia to {up_to} mg/L now and whenever it has gone"),
            Self::WaterChange { percent } => write!(f, "change {percent:.0} % of the water"),
            Self::Alkalinity { rise } => write!(f, "raise the alkalinity by {rise} meq/L"),
        }
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Span { low, middle, high } = self.change;
        if middle.abs() < 0.5 && low > -1.5 && high < 1.5 {
            return write!(f, "{}: no difference to speak of", self.action);
        }
        let days = |days: f64| match days.round() {
            0.0 => "no change".to_owned(),
            -1.0 => "1 day earlier".to_owned(),
            1.0 => "1 day later".to_owned(),
            days if days < 0.0 => format!("{:.0} days earlier", -days),
            days => format!("{days:.0} days later"),
        };
        let likely = if middle.abs() < 0.5 { "most likely" } else { "about" };
        write!(f, "{}: {likely} {} (80 %: {} to {})", self.action, days(middle), days(low), days(high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::fixture::simulated;
    use crate::cycle::forecast::{Filter, Settings};

    const ACTION: Action = Action::WaterChange { percent: 50.0 };

    /// Eleven tanks, so that the bounds leave out one on each side; the first never passes without.
    #[test]
    fn the_bounds_of_a_change_are_those_of_the_differences_tank_by_tank() {
        let without = [f64::INFINITY, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0, 19.0, 20.0, f64::INFINITY];
        let with = [10.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, f64::INFINITY];
        let compared = Comparison::of(ACTION, &with, &without, &[1.0; 11]).unwrap();
        // Never counts as 90 days: the differences are -80, -10, -9 to -2, and 0.
        assert_eq!(compared.change, Span { low: -10.0, middle: -6.0, high: -2.0 });
        assert_eq!(compared.days, Span { low: 4.0, middle: 10.0, high: 18.0 });
        assert!((compared.never - 1.0 / 11.0).abs() < 1e-12);
        let words =
            "change 50 % of the water: about 6 days earlier (80 %: 10 days earlier to 2 days earlier)";
        assert_eq!(compared.to_string(), words);
    }

    #[test]
    fn words_name_the_bounds_in_the_order_of_the_change() {
        let word = |low, middle, high| {
            let change = Span { low, middle, high };
            Comparison { action: ACTION, days: change, change, never: 0.0 }.to_string()
        };
        assert!(word(2.0, 3.0, 8.0).ends_with("about 3 days later (80 %: 2 days later to 8 days later)"));
        assert!(
            word(-8.0, -3.0, 2.0).ends_with("about 3 days earlier (80 %: 8 days earlier to 2 days later)")
        );
        assert!(word(-1.0, 0.2, 1.0).ends_with("no difference to speak of"));
        assert!(word(-1.0, 1.0, 8.0).ends_with("about 1 day later (80 %: 1 day earlier to 8 days later)"));
        assert!(word(0.0, 0.2, 6.0).contains("(80 %: no change to 6 days later)"), "never kept back");
    }

    #[test]
    fn of_the_possible_tanks_one_in_ten_lies_beyond_each_bound() {
        let (history, now) = simulated("tank_011");
        let settings = Settings { particles: 4000, scouts: 400, seed: 1 };
        let posterior = Filter::run(&history, now, &settings);
        assert_eq!(posterior.outlook_with(Action::GoOn, false).days, posterior.outlook.days);
        let action = Action::MatureMedium { percent: 20.0 };
        let (with, without) = (posterior.outlook_with(action, false).days, &posterior.outlook.days);
        let told = posterior.compared(action).unwrap();
        let mut beyond = [0.0, 0.0];
        for ((with, without), weight) in with.iter().zip(without).zip(&posterior.weights) {
            let change = with.min(HORIZON) - without.min(HORIZON);
            beyond[0] += if change < told.change.low { *weight } else { 0.0 };
            beyond[1] += if change > told.change.high { *weight } else { 0.0 };
        }
        // Days lie on a grid of a quarter: ties at a bound count as within.
        assert!(beyond.iter().all(|count| (20.0..=40.0).contains(count)), "{beyond:?} of 400");
        assert!(told.change.low < told.change.middle && told.change.middle < told.change.high);
    }
}
