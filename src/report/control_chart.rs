//! Where a kit's control chart stands: its limits, its last check, the rules that are met.

use std::fmt::Write as _;

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::json::rounded;
use crate::chart::control::{Limits, Rule, State, signals, state};
use crate::terms::Analyte;

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
    /// Rules that any check has met, with the time of the check that completed them.
    rules: Vec<Met>,
}

/// A rule met.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Met {
    rule: Rule,
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
            "Control chart of {}, {}: {} checks, the last {:+.1} standard uncertainties off (warning beyond {}, action beyond {}): {verdict}\n",
            self.control_chart,
            self.analyte,
            self.checks,
            self.last,
            self.warning_limits.1,
            self.action_limits.1
        );
        for met in &self.rules {
            let _ = writeln!(out, "  {}: {}", met.at, met.means);
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
        assert_eq!(Standing::of("kit", Analyte::Ammonia, &[], &limits), None);
    }
}
