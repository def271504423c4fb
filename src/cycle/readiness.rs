//! Whether animals may come: a proof passed, and nothing since that would undo it.

use super::alkalinity::RESERVE_MEQ_L;
use super::forecast::Posterior;
use super::proof::{Outcome, Proof};
use super::series::{RECENT_DAYS, Series};
use super::track::{Source, Track, can_pass, proof_end};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};
use crate::terms::{Analyte, EventKind, TankFacts};

/// Least chance that the colonies as followed since a proof still pass.
///
/// Set with few tanks to go by. Of 400 histories simulated by another model four that had been proved lay
/// between 0.2 and 0.45 and none of them still passed, most for want of buffer, which is asked for below; of
/// the 60 in `fixtures/cycles` two lay there, and both did.
const STILL_PASSES: f64 = 0.25;
/// The same where the readings alone tell, the forecast contradicting them (judgement, no source).
const STILL_PASSES_BY_READINGS: f64 = 0.5;
/// Ammonia or nitrite that counts as found again, mg/L of the ion: the first colour of common charts.
const FOUND: f64 = 0.25;
/// Alkalinity, meq/L, below which the log says that the buffer is all but gone: two doses of a proof.
const THIN_BUFFER: f64 = 0.5;
/// pH below which nitrification all but stops (EPA 1975 has it end at pH 6.0).
const CRASH_PH: f64 = 6.2;

/// What stands between the tank and animals.
#[derive(Debug, Clone, PartialEq)]
pub enum Obstacle {
    /// No proof has passed.
    NoProof,
    /// The readings a day after a dose leave room for a remainder.
    TooClose,
    /// The colonies, followed since the proof, may no longer suffice: too long without ammonia, or levels that
    /// speak against them.
    Faded,
    /// Something was done since that kills bacteria.
    Undone(&'static str),
    /// Ammonia or nitrite was found since.
    FoundSince(Analyte),
    /// By the log and by the pH the buffer is all but used up.
    ThinBuffer,
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
            Self::Faded => {
                "by what was given and read since the proof the bacteria may no longer manage as much".to_owned()
            }
            Self::Undone(what) => format!("since the proof {what}"),
            Self::FoundSince(analyte) => format!("since the proof {analyte} was found again"),
            Self::ThinBuffer => {
                "the buffer is all but used up, by the doses logged and by the pH: without it the bacteria stop"
                    .to_owned()
            }
        }
    }
}

/// Chance that a proof begun now would pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// The chance.
    pub passes_now: f64,
    /// Whether the readings alone tell it.
    pub by_readings_alone: bool,
}

impl Chance {
    /// By both ways of following the tank: one asks only what the readings show of the rates, the other knows the
    /// kinetics. Their geometric mean is high only if both agree. A forecast that contradicts the readings has no
    /// say (`forecast_holds`).
    pub fn of(track: &Track, posterior: &Posterior, forecast_holds: bool) -> Self {
        let shown = track.now.probability(|particle| can_pass(particle) && proof_end(particle).passes());
        let both = || (shown * posterior.proof_passes_now()).sqrt();
        Self { passes_now: if forecast_holds { both() } else { shown }, by_readings_alone: !forecast_holds }
    }

    /// Whether a colony that was proved is likely enough to manage as much today.
    fn still_passes(self) -> bool {
        let least = if self.by_readings_alone { STILL_PASSES_BY_READINGS } else { STILL_PASSES };
        self.passes_now >= least
    }
}

/// Everything that stands against readiness; empty if the tank is ready.
pub fn obstacles(
    series: &Series,
    facts: &TankFacts,
    chance: Chance,
    proof: Option<&Proof>,
    alkalinity_meq_l: Option<f64>,
) -> Vec<Obstacle> {
    let Some(proof) = proof.filter(|proof| proof.outcome == Outcome::Passed) else {
        return vec![Obstacle::NoProof];
    };
    let proved_on = super::series::days(proof.tested_at - series.origin);
    let mut found = Vec::new();
    found.extend(undone(series, facts, proved_on).map(Obstacle::Undone));
    found.extend(found_since(series, proved_on).map(Obstacle::FoundSince));
    if !chance.still_passes() {
        found.push(Obstacle::Faded);
    }
    if !proof.beyond_doubt {
        found.push(Obstacle::TooClose);
    }
    if alkalinity_meq_l.is_some_and(|left| left < THIN_BUFFER) && ph_tells_of_thin_buffer(series, facts) {
        found.push(Obstacle::ThinBuffer);
    }
    found
}

/// Whether a recent pH agrees that little alkalinity is left.
///
/// In water whose carbon dioxide is that of the air alkalinity goes as ten to the pH (carbonate
/// equilibrium, Stumm and Morgan, Aquatic Chemistry), so the fall from the tap water's pH tells what is left
/// of its alkalinity. One line of evidence alone is weak: the log may lack a change of water, and the tap
/// water may bring carbon dioxide of its own.
fn ph_tells_of_thin_buffer(series: &Series, facts: &TankFacts) -> bool {
    let recent = series.latest(Analyte::Ph).filter(|(day, _)| series.now - day <= RECENT_DAYS);
    let (Some((_, ph)), Some(tap_ph), Some(tap)) = (recent, facts.tap.ph, facts.tap.alkalinity_meq_l) else {
        return false;
    };
    tap * 10_f64.powf(ph.value - tap_ph) < RESERVE_MEQ_L
}

/// What was done since the proof that kills or washes out bacteria.
fn undone(series: &Series, facts: &TankFacts, proved_on: f64) -> Option<&'static str> {
    let source = Source::new(facts);
    let mut since = series.deeds.iter().filter(|deed| deed.day >= proved_on);
    if let Some(what) = since.find_map(|deed| match deed.deed.kind {
        EventKind::WaterChange if source.likely_poisons(&deed.deed) => {
            Some("water was changed and may hold chlorine")
        }
        EventKind::Medicine => Some("medicine was given: many kinds kill the bacteria"),
        EventKind::FilterCleaned if source.likely_poisons(&deed.deed) => {
            Some("the filter was cleaned, and the tap water may hold chlorine")
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::cycle::fixture::simulated;
    use crate::cycle::forecast::{Filter, Settings};
    use crate::cycle::history::Deed;
    use crate::cycle::proof::latest_proof;
    use crate::cycle::track::track;
    use crate::reading::{Measurement, Status};
    use chrono::{DateTime, FixedOffset, TimeDelta};

    /// What a pH read on `day` tells on day 16.
    fn told(ph: f64, day: i64) -> bool {
        let mut facts = TankFacts::default();
        (facts.tap.ph, facts.tap.alkalinity_meq_l) = (Some(7.8), Some(2.5));
        let measurements = vec![read(Analyte::Ph, 24 * day, ph, 0.2)];
        let history = TankHistory { facts: facts.clone(), measurements, deeds: Vec::new() };
        ph_tells_of_thin_buffer(&Series::new(&history, at(24 * 16)), &facts)
    }

    /// A tenfold fall of alkalinity at the same carbon dioxide lowers the pH by one unit.
    #[test]
    fn a_recent_ph_far_below_the_tap_waters_tells_of_a_thin_buffer() {
        assert!(told(7.3, 15));
        assert!(!told(7.5, 15));
        assert!(!told(7.3, 6), "an old reading tells nothing of today");
    }

    #[test]
    fn medicine_soon_after_a_proof_undoes_it_and_before_it_does_not() {
        let deed =
            |kind, hour| Deed { kind, amount: None, at: at(hour), note: String::new(), is_supposed: false };
        let is_undone = |hour: i64| {
            // The series begins with its first record.
            let deeds = vec![deed(EventKind::FishAdded, 0), deed(EventKind::Medicine, hour)];
            let history = TankHistory { facts: TankFacts::default(), measurements: Vec::new(), deeds };
            undone(&Series::new(&history, at(200)), &history.facts, 2.0).is_some()
        };
        assert!(!is_undone(40) && is_undone(49) && is_undone(100));
    }

    fn at(hour: i64) -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap() + TimeDelta::hours(hour)
    }

    fn read(analyte: Analyte, hour: i64, value: f64, within: f64) -> Measurement {
        Measurement {
            analyte,
            status: Status::Read,
            value: Some(value),
            low: Some(value - within),
            high: Some(value + within),
            taken_at: at(hour),
            flags: Vec::new(),
        }
    }

    fn series(measurements: Vec<Measurement>, dosed: Option<i64>) -> Series {
        let dose = |hour| Deed {
            kind: EventKind::AmmoniaDose,
            amount: Some(2.0),
            at: at(hour),
            note: String::new(),
            is_supposed: false,
        };
        let deeds = dosed.map(dose).into_iter().collect();
        Series::new(&TankHistory { facts: TankFacts::default(), measurements, deeds }, at(400))
    }

    #[test]
    fn what_surely_shows_since_the_proof_is_found_unless_it_was_just_dosed() {
        let zero = || read(Analyte::Nitrate, 0, 10.0, 2.0);
        let found = |analyte, hour, value, dosed| {
            found_since(&series(vec![zero(), read(analyte, hour, value, 0.1)], dosed), 2.0)
        };
        for analyte in [Analyte::Ammonia, Analyte::Nitrite] {
            assert_eq!(found(analyte, 100, 0.4, None), Some(analyte));
            assert_eq!(found(analyte, 100, 0.3, None), None, "it may be less than the first colour");
            assert_eq!(found(analyte, 40, 0.4, None), None, "before the proof");
            assert_eq!(found(analyte, 100, 0.4, Some(90)), None, "dosed ten hours before");
            assert_eq!(found(analyte, 100, 0.4, Some(52)), Some(analyte), "dosed two days before");
        }
    }

    /// Nitrification ends at about pH 6.0 (EPA 1975).
    #[test]
    fn a_ph_at_which_nothing_is_oxidised_undoes_a_proof() {
        let is_undone = |ph, hour| {
            let measured = vec![read(Analyte::Nitrate, 0, 10.0, 2.0), read(Analyte::Ph, hour, ph, 0.2)];
            undone(&series(measured, None), &TankFacts::default(), 2.0).is_some()
        };
        assert!(is_undone(5.9, 100) && !is_undone(6.6, 100));
        assert!(!is_undone(5.9, 40), "before the proof");
    }

    #[test]
    fn a_proof_that_passed_by_a_hair_stands_against_readiness() {
        let (history, now) = simulated("tank_023");
        let series = Series::new(&history, now);
        let facts = &history.facts;
        let track = track(&series, facts);
        let posterior = Filter::run(&history, now, &Settings { particles: 4000, scouts: 400, seed: 1 });
        let mut proof = latest_proof(&series, facts, &track).unwrap();
        let chance = Chance::of(&track, &posterior, true);
        let against = |proof: &Proof| obstacles(&series, facts, chance, Some(proof), None);
        assert_eq!(against(&proof), []);
        proof.beyond_doubt = false;
        assert_eq!(against(&proof), [Obstacle::TooClose]);
    }

    #[test]
    fn the_readings_alone_must_show_more_than_both_together() {
        let still = |passes_now, by_readings_alone| Chance { passes_now, by_readings_alone }.still_passes();
        assert!(still(0.3, false) && !still(0.3, true));
        assert!(!still(0.2, false) && still(0.6, true));
    }
}
