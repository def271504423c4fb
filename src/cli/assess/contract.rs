//! The JSON line of `assess`, as other programs rely on it.

use serde::Serialize;

use crate::cycle::Assessment;
use crate::cycle::plan::ProofPlan;

/// One tank's line.
#[derive(Debug, Serialize)]
pub struct Line<'a> {
    tank: &'a str,
    at: String,
    stage: &'static str,
    proof: &'static str,
    ready: bool,
    ready_on: Option<Dates>,
    stall_cause: Option<&'static str>,
    faults: Vec<FaultLine>,
    advice: Vec<AdviceLine<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    proof_plan: Option<PlanLine>,
    #[serde(skip_serializing_if = "Option::is_none")]
    what_if: Option<Vec<WhatIfLine>>,
}

/// What an action today would do to the day that is waited for.
#[derive(Debug, Serialize)]
pub struct WhatIfLine {
    /// The action in words.
    pub action: String,
    /// Days later (negative: earlier) than going on as before: bounds of the middle 80 %, and the middle.
    pub days_later_low: f64,
    /// The middle of them.
    pub days_later: f64,
    /// The upper bound.
    pub days_later_high: f64,
    /// What the days lead up to: `proof`, or, with fish in, `settling`: ammonia and nitrite stay low.
    pub until: &'static str,
    /// Probability that this comes about within 90 days.
    pub passes_within_90_days: f64,
    /// Whether the days can be relied on at all; the words say why where they cannot.
    pub reliable: bool,
}

#[derive(Debug, Serialize)]
struct Dates {
    earliest: String,
    likely: String,
    latest: String,
}

#[derive(Debug, Serialize)]
struct FaultLine {
    kind: &'static str,
    at: String,
    why: String,
}

#[derive(Debug, Serialize)]
struct AdviceLine<'a> {
    #[serde(rename = "do")]
    action: &'a str,
    amount: &'a str,
    why: String,
}

#[derive(Debug, Serialize)]
struct PlanLine {
    dose_mg_l: f64,
    ammonium_chloride_g: Option<f64>,
    ammonia_solution_10_percent_ml: Option<f64>,
    dose_at: String,
    test_at: String,
    test_until: String,
    nitrate_rise_mg_l: f64,
    first: Vec<String>,
    animals: bool,
}

impl<'a> Line<'a> {
    /// The line with a comparison of actions.
    pub fn with_what_if(self, lines: Vec<WhatIfLine>) -> Self {
        Self { what_if: Some(lines), ..self }
    }

    /// The line of `assessment`.
    pub fn of(assessment: &'a Assessment, plan: bool) -> Self {
        let date = |at: chrono::DateTime<chrono::FixedOffset>| at.format("%Y-%m-%d").to_string();
        Self {
            tank: &assessment.tank,
            at: assessment.at.to_rfc3339(),
            stage: assessment.stage.word(),
            proof: assessment.outcome.word(),
            ready: assessment.ready,
            ready_on: assessment.ready_on.map(|on| Dates {
                earliest: date(on.earliest),
                likely: date(on.likely),
                latest: date(on.latest),
            }),
            stall_cause: assessment.stall_cause.map(|cause| cause.word()),
            faults: assessment
                .faults
                .iter()
                .map(|fault| FaultLine {
                    kind: fault.kind.word(),
                    at: fault.at.to_rfc3339(),
                    why: fault.why(),
                })
                .collect(),
            advice: assessment
                .advice
                .iter()
                .map(|advice| AdviceLine {
                    action: &advice.action,
                    amount: &advice.amount,
                    why: advice.why_with_caution(),
                })
                .collect(),
            proof_plan: plan.then(|| PlanLine::of(&assessment.plan)),
            what_if: None,
        }
    }
}

impl PlanLine {
    fn of(plan: &ProofPlan) -> Self {
        let two_digits = |value: f64| (value * 100.0).round() / 100.0;
        Self {
            dose_mg_l: plan.dose_mg_l,
            ammonium_chloride_g: plan.ammonium_chloride_g.map(two_digits),
            ammonia_solution_10_percent_ml: plan.ammonia_solution_ml.map(two_digits),
            dose_at: plan.dose_at.to_rfc3339(),
            test_at: plan.test_at.to_rfc3339(),
            test_until: plan.test_until.to_rfc3339(),
            nitrate_rise_mg_l: two_digits(plan.nitrate_rise_mg_l),
            first: plan.first.clone(),
            animals: plan.animals,
        }
    }
}
