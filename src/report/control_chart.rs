//! Where a kit's control chart stands: its limits, its last check, the rules that are met.

use std::fmt::Write as _;

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use crate::chart::control::{Limits, Rule, State, signals, state};
use crate::math::digits::rounded;
use crate::terms::Analyte;

/// Characters of the drawn chart for one standard uncertainty.
const PER_UNIT: f64 = 4.0;
/// Characters to either side of its centre.
const REACH: usize = 16;

/// One kit's control chart after its last check. Scores are in standard uncertainties of the readings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// Name of the kit's chart.
    control_chart: String,
    analyte: Analyte,
    /// Checks since the kit's chart was made.
    checks: usize,
    /// Score of the last check, and the limits it is held against.
    last: f64,
    warning_limits: (f64, f64),
    action_limits: (f64, f64),
    state: State,
    /// Every check, oldest first.
    points: Vec<Point>,
    /// Rules that any check has met, with the time of the check that completed them.
    rules: Vec<Met>,
}

/// One check on the chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Point {
    at: String,
    score: f64,
}

/// A rule met.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Met {
    rule: Rule,
    /// Its usual name.
    name: &'static str,
    at: String,
    means: String,
}

impl Standing {
    /// From the checks of one chart and analyte, oldest first; `None` without any.
    pub fn of(
        chart: &str,
        analyte: Analyte,
        checks: &[(DateTime<FixedOffset>, f64)],
        limits: &Limits,
    ) -> Option<Self> {
        let scores: Vec<f64> = checks.iter().map(|(_, score)| *score).collect();
        let rules = signals(&scores, limits)
            .into_iter()
            .map(|signal| Met {
                rule: signal.rule,
                name: signal.rule.name(),
                at: checks[signal.at].0.to_rfc3339(),
                means: signal.rule.to_string(),
            })
            .collect();
        Some(Self {
            control_chart: chart.to_owned(),
            analyte,
            checks: checks.len(),
            last: rounded(*scores.last()?),
            warning_limits: limits.warning(),
            action_limits: limits.action(),
            state: state(&scores, limits),
            points: checks
                .iter()
                .map(|(at, score)| Point { at: at.to_rfc3339(), score: rounded(*score) })
                .collect(),
            rules,
        })
    }

    /// One line of JSON.
    ///
    /// # Errors
    /// If it cannot be put into JSON.
    pub fn json(&self) -> serde_json::Result<String> {
        serde_json::to_string(self)
    }

    /// For people.
    pub fn text(&self) -> String {
        let verdict = match self.state {
            State::InControl => "in control",
            State::Warning => "warning: check again soon",
            State::OutOfControl => "out of control: make the chart anew or replace the reagents",
        };
        let mut out = format!(
            "Control chart of {}, {}: {} {}, the last {:+.1} standard uncertainties off (warning beyond {}, action beyond {}): {verdict}\n",
            self.control_chart,
            self.analyte,
            self.checks,
            if self.checks == 1 { "check" } else { "checks" },
            self.last,
            self.warning_limits.1,
            self.action_limits.1
        );
        for met in &self.rules {
            let _ = writeln!(out, "  {}: {} (rule {:?})", met.at, met.means, met.name);
        }
        out
    }

    /// The chart itself in characters: a line a check, from four standard uncertainties below to four
    /// above; what lies beyond is an arrow at the edge.
    pub fn drawn(&self) -> String {
        let mut out = String::new();
        for point in &self.points {
            let mut line = vec![' '; 2 * REACH + 1];
            let column = |score: f64| ((score * PER_UNIT).round() + REACH as f64) as usize;
            line[REACH] = '.';
            for (limits, mark) in [(self.warning_limits, ':'), (self.action_limits, '|')] {
                line[column(limits.0)] = mark;
                line[column(limits.1)] = mark;
            }
            match point.score * PER_UNIT {
                place if place > REACH as f64 => line[2 * REACH] = '>',
                place if place < -(REACH as f64) => line[0] = '<',
                _ => line[column(point.score)] = '*',
            }
            let line: String = line.into_iter().collect();
            let _ = writeln!(out, "  {}  {line}  {:+.1}", point.at, point.score);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_met_are_named_with_the_check_that_completed_them() {
        let at =
            |day: u32| DateTime::parse_from_rfc3339(&format!("2031-03-{day:02}T18:00:00+01:00")).unwrap();
        let checks = [(at(1), 2.3), (at(2), 0.4), (at(3), 2.4)];
        let limits = Limits::given(0.0, 1.0).unwrap();
        let standing = Standing::of("kit", Analyte::Ammonia, &checks, &limits).unwrap();
        let text = standing.text();
        assert!(text.contains("3 checks, the last +2.4") && text.contains("check again soon"), "{text}");
        assert!(text.contains("2031-03-03T18:00:00+01:00: two of three"), "{text}");
        assert!(standing.json().unwrap().contains("\"rule\":\"two_of_three_beyond_warning\""));
        assert!(text.contains("two of three in zone A"), "{text}");
        assert_eq!(Standing::of("kit", Analyte::Ammonia, &[], &limits), None);
    }

    #[test]
    fn checks_are_drawn_between_the_limits_and_beyond_them_as_arrows() {
        let at = DateTime::parse_from_rfc3339("2031-03-01T18:00:00+01:00").unwrap();
        let checks = [-9.0, 0.0, 2.5, 4.5].map(|score| (at, score));
        let standing =
            Standing::of("kit", Analyte::Ammonia, &checks, &Limits::given(0.0, 1.0).unwrap()).unwrap();
        let drawn: Vec<String> =
            standing.drawn().lines().map(|line| line.replace("  2031-03-01T18:00:00+01:00  ", "")).collect();
        assert_eq!(
            drawn,
            [
                "<   |   :       .       :   |      -9.0",
                "    |   :       *       :   |      +0.0",
                "    |   :       .       : * |      +2.5",
                "    |   :       .       :   |   >  +4.5",
            ]
        );
    }
}
