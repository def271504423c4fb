//! How to prove the cycle: what to dose, when to test, which readings decide.

use chrono::{DateTime, Duration, FixedOffset};

use super::alkalinity::{MEQ_PER_MG_N, RESERVE_MEQ_L};
use super::animals::Animals;
use super::balance::Balance;
use super::dosing::{ammonium_chloride_g, aqueous_ammonia_ml};
use super::series::Series;
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};
use crate::terms::{Analyte, TankFacts};

/// Ammonia that a proof begins with, mg/L NH3 (common practice: about 2 ppm).
pub const PROOF_MG_L: f64 = 2.0;
/// Strength in which ammonia solution is commonly sold, per cent by mass.
const COMMON_STRENGTH: f64 = 10.0;

/// A proof to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct ProofPlan {
    /// Rise of ammonia to dose, mg/L NH3.
    pub dose_mg_l: f64,
    /// The same as ammonium chloride, grams; needs the volume.
    pub ammonium_chloride_g: Option<f64>,
    /// The same as ammonia solution of 10 %, millilitres; needs the volume.
    pub ammonia_solution_ml: Option<f64>,
    /// When to begin: now.
    pub dose_at: DateTime<FixedOffset>,
    /// When the deciding test is due.
    pub test_at: DateTime<FixedOffset>,
    /// Last moment at which it still decides.
    pub test_until: DateTime<FixedOffset>,
    /// Rise of nitrate that a passed proof shows, mg/L NO3.
    pub nitrate_rise_mg_l: f64,
    /// What stands in the way of a fair proof.
    pub first: Vec<String>,
    /// Whether animals are in the tank: then nothing is dosed, and their food is the test.
    pub animals: bool,
}

/// Plans the proof of the tank in `series`.
pub fn plan_proof(series: &Series, facts: &TankFacts, balance: &Balance) -> ProofPlan {
    let animals = Animals::of(series, facts);
    let in_tank = animals == Animals::Present;
    let standing = series
        .latest(Analyte::Ammonia)
        .filter(|(day, _)| series.now - day < 2.0)
        .map_or(0.0, |(_, level)| level.value * NH3_PER_N);
    let needed = ((PROOF_MG_L - standing) * 10.0).round().max(0.0) / 10.0;
    let dose = if in_tank { 0.0 } else { needed };
    let volume = facts.volume_l.unwrap_or(0.0);
    let now = series.moment(series.now);
    ProofPlan {
        dose_mg_l: dose,
        ammonium_chloride_g: ammonium_chloride_g(dose, volume).ok(),
        ammonia_solution_ml: aqueous_ammonia_ml(dose, volume, COMMON_STRENGTH, None).ok(),
        dose_at: now,
        test_at: now + Duration::hours(24),
        test_until: now + Duration::hours(26),
        nitrate_rise_mg_l: PROOF_MG_L / NH3_PER_N * NO3_PER_N,
        first: if in_tank { Vec::new() } else { first(series, facts, balance, animals, standing) },
        animals: in_tank,
    }
}

fn first(
    series: &Series,
    facts: &TankFacts,
    balance: &Balance,
    animals: Animals,
    standing: f64,
) -> Vec<String> {
    let mut first = Vec::new();
    if animals == Animals::Unknown {
        first.push(
            "make sure that no animal lives in the tank: the log does not tell, and the dose would kill it"
                .to_owned(),
        );
    }
    if standing > PROOF_MG_L + 0.5 {
        first.push(format!(
            "ammonia stands at {standing:.1} mg/L already: wait until it has fallen below 0.25 mg/L, or the proof cannot pass"
        ));
    }
    if facts.volume_l.is_none() {
        first.push(
            "the volume is not told: dose in small steps and test ammonia an hour after each, until 2 mg/L"
                .to_owned(),
        );
    }
    let needed = PROOF_MG_L / NH3_PER_N * MEQ_PER_MG_N;
    if balance.alkalinity_meq_l.is_some_and(|left| left < RESERVE_MEQ_L + needed) {
        first.push(
            "the buffer is nearly used up: raise the alkalinity first, or the pH stops the bacteria"
                .to_owned(),
        );
    }
    if !series.samples.iter().any(|s| s.nitrate.is_some() && series.now - s.day < 2.0) {
        first.push("test nitrate before the dose, shaking its bottles as the leaflet says".to_owned());
    }
    first
}
