//! Whether animals may come: a proof passed, and nothing since that would undo it.

use super::forecast::Posterior;
use super::proof::{Outcome, Proof};
use super::series::Series;
use super::track::{Source, Track, can_pass, proof_end};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};
use crate::terms::{Analyte, EventKind, TankFacts};

/// Least chance that the colonies as followed since a proof still pass.
///
/// In 320 histories simulated by another model none of the proved tanks between 0.2 and 0.45 still
/// passed; in those of `fixtures/cycles` both did.
const STILL_PASSES: f64 = 0.25;
/// Ammonia or nitrite that counts as found again, mg/L of the ion: the first colour of common charts.
const FOUND: f64 = 0.25;
/// pH below which nitrification all but stops (EPA 1975 has it end at pH 6.0).
const CRASH_PH: f64 = 6.2;

/// What stands between the tank and animals.
#[derive(Debug, Clone, PartialEq)]
pub enum Obstacle {
    /// No proof has passed.
    NoProof,
    /// The readings a day after a dose leave room for a remainder.
    TooClose,
    /// The colonies, followed since the proof, may no longer suffice: too long without ammonia.
    Faded,
    /// Something was done since that kills bacteria.
    Undone(&'static str),
    /// Ammonia or nitrite was found since.
    FoundSince(Analyte),
}

impl Obstacle {
    /// Why not yet, in words.
    pub fn sentence(&self) -> String {
        match self {
            Self::NoProof => "no proof of the cycle has passed".to_owned(),
            Self::TooClose => {
                "the proof passed by a hair: a remainder too small for a colour test to show cannot be excluded"
                    .to_owned()
            }
            Self::Faded => "since the proof the bacteria have had too little ammonia to be sure of".to_owned(),
            Self::Undone(what) => format!("since the proof {what}"),
            Self::FoundSince(analyte) => format!("since the proof {analyte} was found again"),
        }
    }
}

/// Chance that a proof begun now would pass, by both ways of following the tank.
///
/// One asks only what the readings show of the rates, the other knows the kinetics. Their geometric mean
/// is high only if both agree.
pub fn passes_now(track: &Track, posterior: &Posterior) -> f64 {
    let shown = track.now.probability(|particle| can_pass(particle) && proof_end(particle).passes());
    (shown * posterior.proof_passes_now()).sqrt()
}

/// Everything that stands against readiness; empty if the tank is ready.
pub fn obstacles(
    series: &Series,
    facts: &TankFacts,
    track: &Track,
    posterior: &Posterior,
    proof: Option<&Proof>,
) -> Vec<Obstacle> {
    let Some(proof) = proof.filter(|proof| proof.outcome == Outcome::Passed) else {
        return vec![Obstacle::NoProof];
    };
    let proved_on = super::series::days(proof.tested_at - series.origin);
    let mut found = Vec::new();
    found.extend(undone(series, facts, proved_on).map(Obstacle::Undone));
    found.extend(found_since(series, proved_on).map(Obstacle::FoundSince));
    if passes_now(track, posterior) < STILL_PASSES {
        found.push(Obstacle::Faded);
    }
    if !proof.beyond_doubt {
        found.push(Obstacle::TooClose);
    }
    found
}

/// What was done since the proof that kills or washes out bacteria.
fn undone(series: &Series, facts: &TankFacts, proved_on: f64) -> Option<&'static str> {
    let poison = Source::new(facts).poison_chance();
    let mut since = series.deeds.iter().filter(|deed| deed.day >= proved_on);
    if let Some(what) = since.find_map(|deed| match deed.deed.kind {
        EventKind::WaterChange if poison >= 0.3 => {
            Some("water was changed and may hold chlorine: prove it again")
        }
        EventKind::Medicine => Some("medicine was given: many kinds kill the bacteria; prove it again"),
        EventKind::FilterCleaned if poison >= 0.3 => {
            Some("the filter was cleaned, and the tap water may hold chlorine: prove it again")
        }
        _ => None,
    }) {
        return Some(what);
    }
    let acid = series.latest(Analyte::Ph).is_some_and(|(day, ph)| day >= proved_on && ph.value < CRASH_PH);
    acid.then_some("the pH has fallen so far that the bacteria stop")
}

/// Ammonia or nitrite clearly above zero in the latest test since the proof.
fn found_since(series: &Series, proved_on: f64) -> Option<Analyte> {
    [(Analyte::Ammonia, NH3_PER_N), (Analyte::Nitrite, NO2_PER_N)].into_iter().find_map(
        |(analyte, factor)| {
            let (day, level) = series.latest(analyte)?;
            let dosed =
                series.of_kind(EventKind::AmmoniaDose).any(|dose| (0.0..0.8).contains(&(day - dose.day)));
            let clearly = level.lower() * factor > FOUND;
            (day > proved_on && !dosed && clearly).then_some(analyte)
        },
    )
}
