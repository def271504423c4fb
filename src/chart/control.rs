//! Control chart of a kit's checks: has it drifted since its chart was made?
//!
//! A Shewhart chart of single values (ISO 7870-2; its use in water analysis, ISO/TS 13530): a centre,
//! warning limits at two and action limits at three standard deviations, and beside the action limits
//! the three runs rules of the classical set (Western Electric Company, Statistical Quality Control
//! Handbook, 1956). The standards' texts are cited from memory, not verified; the rules are tested
//! against their published mean run length. Values are differences of checks from their known values,
//! in a measure that makes levels comparable (steps, or standard uncertainties).

use std::fmt;

use serde::{Deserialize, Serialize};

/// Distance of the warning limits, standard deviations.
const WARNING: f64 = 2.0;
/// Distance of the action limits, standard deviations.
const ACTION: f64 = 3.0;
/// Mean of the range of two values from a normal law in standard deviations, 2 / sqrt(pi) (d2 for n = 2).
const RANGE_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;
/// Checks that a chart must have before its own scatter can set its limits (common practice: 20 to 25 are
/// better; with eight, the limits are uncertain by a quarter).
pub const LEAST_HISTORY: usize = 8;

/// Centre and scatter of a control chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Centre line.
    pub centre: f64,
    /// Standard deviation of a single check about it.
    pub sigma: f64,
}

impl Limits {
    /// Limits from given values: a kit in order reads right on average, with a known uncertainty. `None`
    /// unless both are numbers and `sigma` is above zero.
    pub fn given(centre: f64, sigma: f64) -> Option<Self> {
        (centre.is_finite() && sigma.is_finite() && sigma > 0.0).then_some(Self { centre, sigma })
    }

    /// Limits from earlier checks: their mean, and the mean range between neighbours, which a slow drift
    /// does not widen. `None` with fewer than [`LEAST_HISTORY`] values or without scatter.
    pub fn from_history(values: &[f64]) -> Option<Self> {
        if values.len() < LEAST_HISTORY {
            return None;
        }
        let ranges: f64 = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        Self::given(mean, ranges / (values.len() - 1) as f64 / RANGE_OF_TWO)
    }

    /// Lower and upper warning limit.
    pub fn warning(&self) -> (f64, f64) {
        self.at(WARNING)
    }

    /// Lower and upper action limit.
    pub fn action(&self) -> (f64, f64) {
        self.at(ACTION)
    }

    fn at(&self, distance: f64) -> (f64, f64) {
        (self.centre - distance * self.sigma, self.centre + distance * self.sigma)
    }

    /// Distance from the centre in standard deviations.
    fn score(&self, value: f64) -> f64 {
        (value - self.centre) / self.sigma
    }
}

/// What a chart can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// One check beyond an action limit.
    BeyondAction,
    /// Two of three checks in a row beyond the same warning limit.
    TwoOfThreeBeyondWarning,
    /// Four of five checks in a row more than one standard deviation off, on the same side.
    FourOfFiveOffCentre,
    /// Eight checks in a row on the same side of the centre.
    EightOnOneSide,
}

impl Rule {
    /// Every rule, the most urgent first.
    pub const ALL: [Self; 4] =
        [Self::BeyondAction, Self::TwoOfThreeBeyondWarning, Self::FourOfFiveOffCentre, Self::EightOnOneSide];

    /// Its name by the zones of a control chart: A from two to three standard deviations, B from one to
    /// two, C within one (the tests for assignable causes of ISO 8258, now ISO 7870-2, and the classical
    /// set name them so; from memory, not verified).
    pub const fn name(self) -> &'static str {
        match self {
            Self::BeyondAction => "one beyond zone A",
            Self::TwoOfThreeBeyondWarning => "two of three in zone A or beyond",
            Self::FourOfFiveOffCentre => "four of five in zone B or beyond",
            Self::EightOnOneSide => "eight in a row on one side",
        }
    }

    /// How many of how many checks must lie beyond which distance, on one side.
    const fn terms(self) -> (usize, usize, f64) {
        match self {
            Self::BeyondAction => (1, 1, ACTION),
            Self::TwoOfThreeBeyondWarning => (2, 3, WARNING),
            Self::FourOfFiveOffCentre => (4, 5, 1.0),
            Self::EightOnOneSide => (8, 8, 0.0),
        }
    }

    /// Whether the rule is met by the last of these scores.
    fn is_met(self, scores: &[f64]) -> bool {
        let (count, window, distance) = self.terms();
        let Some(last) = scores.len().checked_sub(window).map(|start| &scores[start..]) else { return false };
        // The check that completes the pattern must itself be part of it.
        let on_side = |side: f64| {
            let is_beyond = |score: &f64| side * score > distance;
            last.last().is_some_and(is_beyond)
                && last.iter().filter(|score| is_beyond(score)).count() >= count
        };
        on_side(1.0) || on_side(-1.0)
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::BeyondAction => "a check lies beyond the action limits (three standard deviations)",
            Self::TwoOfThreeBeyondWarning => {
                "two of three checks in a row lie beyond the same warning limit (two standard deviations)"
            }
            Self::FourOfFiveOffCentre => {
                "four of five checks in a row lie more than one standard deviation off, on the same side"
            }
            Self::EightOnOneSide => "eight checks in a row lie on the same side of the centre",
        })
    }
}

/// A rule met by a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signal {
    /// Which rule.
    pub rule: Rule,
    /// Index of the check that completes it.
    pub at: usize,
}

/// Where a kit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// No rule is met by the last check.
    InControl,
    /// The last check lies beyond a warning limit or completes a run: check again soon.
    Warning,
    /// The last check lies beyond an action limit: readings are doubted until the chart is made anew.
    OutOfControl,
}

/// Every rule met by every check, in order of time; checks that are no numbers are passed over.
pub fn signals(checks: &[f64], limits: &Limits) -> Vec<Signal> {
    let (mut scores, mut found) = (Vec::new(), Vec::new());
    for (at, check) in checks.iter().enumerate().filter(|(_, check)| check.is_finite()) {
        scores.push(limits.score(*check));
        found.extend(
            Rule::ALL.into_iter().filter(|rule| rule.is_met(&scores)).map(|rule| Signal { rule, at }),
        );
    }
    found
}

/// State after the last check; in control without any.
pub fn state(checks: &[f64], limits: &Limits) -> State {
    let Some((last, value)) = checks.iter().enumerate().rfind(|(_, check)| check.is_finite()) else {
        return State::InControl;
    };
    let at_last: Vec<Rule> =
        signals(checks, limits).iter().filter(|s| s.at == last).map(|s| s.rule).collect();
    if at_last.contains(&Rule::BeyondAction) {
        State::OutOfControl
    } else if !at_last.is_empty() || limits.score(*value).abs() > WARNING {
        State::Warning
    } else {
        State::InControl
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    const UNIT: Limits = Limits { centre: 0.0, sigma: 1.0 };

    fn rules_at_end(checks: &[f64]) -> Vec<Rule> {
        let last = checks.len() - 1;
        signals(checks, &UNIT).into_iter().filter(|s| s.at == last).map(|s| s.rule).collect()
    }

    #[test]
    fn each_rule_is_met_by_its_pattern_and_not_by_one_less() {
        assert_eq!(rules_at_end(&[0.0, -3.1]), [Rule::BeyondAction]);
        assert_eq!(rules_at_end(&[0.0, 2.9]), []);
        assert_eq!(rules_at_end(&[2.1, 0.5, 2.2]), [Rule::TwoOfThreeBeyondWarning]);
        assert_eq!(rules_at_end(&[2.1, 0.5, -2.2]), []);
        assert_eq!(rules_at_end(&[1.2, 1.4, 0.2, 1.1, 1.3]), [Rule::FourOfFiveOffCentre]);
        assert_eq!(rules_at_end(&[1.2, 1.4, 0.2, -1.1, 1.3]), []);
        assert_eq!(rules_at_end(&[-0.1; 8]), [Rule::EightOnOneSide]);
        assert_eq!(rules_at_end(&[-0.1; 7]), []);
    }

    #[test]
    fn a_check_back_in_the_middle_completes_no_pattern() {
        assert_eq!(rules_at_end(&[2.5, 2.5, 0.1]), []);
    }

    /// Mean run length to a false alarm of the four rules together: 91.75 (Champ and Woodall, Technometrics
    /// 29:393-399, 1987; from memory, not verified), of the first alone 370.4 = 1 / 0.0027. Simulated here.
    #[test]
    fn false_alarms_come_as_rarely_as_published() {
        let mut random = rand_pcg::Pcg64::seed_from_u64(20_250_101);
        let runs = 4000;
        let (mut all, mut first) = (0_usize, 0_usize);
        for _ in 0..runs {
            let mut scores: Vec<f64> = Vec::new();
            let mut is_alarmed = false;
            loop {
                scores.push(StandardNormal.sample(&mut random));
                if !is_alarmed && Rule::ALL.iter().any(|rule| rule.is_met(&scores)) {
                    is_alarmed = true;
                    all += scores.len();
                }
                if Rule::BeyondAction.is_met(&scores) {
                    first += scores.len();
                    break;
                }
            }
        }
        // Run lengths scatter about as much as their mean: over 4000 runs, 1.6 %; three times that is allowed.
        let mean = |sum: usize| sum as f64 / f64::from(runs);
        assert_abs_diff_eq!(mean(all), 91.75, epsilon = 0.048 * 91.75);
        assert_abs_diff_eq!(mean(first), 370.4, epsilon = 0.048 * 370.4);
    }

    /// d2 for two values is 1.128, and 3 / d2 = 2.660 (control-chart tables); ten alternating values by hand.
    #[test]
    fn limits_from_history_rest_on_ranges_of_neighbours() {
        assert_abs_diff_eq!(ACTION / RANGE_OF_TWO, 2.660, epsilon = 2e-3);
        let values = [1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0];
        let limits = Limits::from_history(&values).unwrap();
        assert_abs_diff_eq!(limits.centre, 1.5, epsilon = 1e-12);
        assert_abs_diff_eq!(limits.action().1, 1.5 + 2.659, epsilon = 1e-3);
        assert_abs_diff_eq!(limits.warning().0, 1.5 - 2.0 / 1.128, epsilon = 1e-3);
    }

    #[test]
    fn too_short_a_history_or_no_scatter_sets_no_limits() {
        assert_eq!(Limits::from_history(&[1.0; 7]), None);
        assert_eq!(Limits::from_history(&[1.0; 12]), None);
        assert_eq!(Limits::given(0.0, 0.0), None);
        assert_eq!(Limits::given(f64::NAN, 1.0), None);
    }

    #[test]
    fn the_last_check_decides_the_state() {
        assert_eq!(state(&[], &UNIT), State::InControl);
        assert_eq!(state(&[0.3, 2.4], &UNIT), State::Warning);
        assert_eq!(state(&[0.3, 3.4], &UNIT), State::OutOfControl);
        assert_eq!(state(&[3.4, 0.3], &UNIT), State::InControl);
        assert_eq!(state(&[3.4, f64::NAN], &UNIT), State::OutOfControl);
    }
}
