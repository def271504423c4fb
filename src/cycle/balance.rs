//! The nitrogen balance: what went in, what was taken out, what the three tests see.

use chrono::{DateTime, FixedOffset};

use super::alkalinity::MEQ_PER_MG_N;
use super::dosing::{FOOD_N_EXCRETED, N_PER_PROTEIN};
use super::series::{DatedDeed, Level, Sample, Series, VOLUME_FACTOR, VOLUME_FACTOR_SD};
use crate::terms::unit::{NH3_PER_N, NO3_PER_N, atomic_weight};
use crate::terms::{EventKind, TankFacts};

/// Protein in an ordinary fish food, as a share (labels print 35 to 55 %).
const FOOD_PROTEIN: f64 = 0.45;
/// How far food may be off in nitrogen, as a share of its amount.
const FOOD_SD: f64 = 0.4;
/// Nitrate of tap water that nobody told, mg/L NO3: mean and standard deviation.
const UNKNOWN_TAP_NITRATE: (f64, f64) = (12.0, 8.0);
/// Steady bias of a nitrate test, as a share of the value.
const NITRATE_BIAS: f64 = 0.12;
/// Steady bias of the other two.
const OTHER_BIAS: f64 = 0.05;

/// A quantity with its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// The balance at one test, mg/L as N.
#[derive(Debug, Clone, PartialEq)]
pub struct BalancePoint {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Days since the series' origin.
    pub day: f64,
    /// Nitrogen that should stand in the water by what was given and taken.
    pub expected: Estimate,
    /// Nitrogen that the three tests see, if all three were made and none was past its chart.
    pub seen: Option<Estimate>,
    /// Seen less expected: below zero, nitrogen is missing (plants, a bloom, an unlogged water change, a
    /// nitrate test that reads low); above zero, some came in unlogged.
    pub residual: Option<Estimate>,
}

/// The balance over the whole history.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// By time.
    pub points: Vec<BalancePoint>,
    /// Share of the nitrogen that left ammonia and nitrite which the nitrate test finds again; near one for
    /// nitrification, near zero for a bloom or plants. `None` without enough readings.
    pub found_as_nitrate: Option<Estimate>,
    /// Alkalinity now by the same reckoning, meq/L, if the tap water's is known.
    pub alkalinity_meq_l: Option<f64>,
}

/// What should stand in the water.
#[derive(Debug, Clone, Copy)]
struct Ledger {
    /// All nitrogen, mg/L, without the steady factor's error.
    total: f64,
    /// The part that scales with the volume factor, so that its error is common.
    dosed: f64,
    /// Variance of the rest.
    variance: f64,
}

impl Ledger {
    fn estimate(&self) -> Estimate {
        let factor = self.dosed * VOLUME_FACTOR_SD / VOLUME_FACTOR;
        Estimate { value: self.total, sd: (self.variance + factor * factor).sqrt() }
    }

    fn act(&mut self, dated: &DatedDeed, facts: &TankFacts) {
        let amount = dated.amount();
        match dated.deed.kind {
            EventKind::AmmoniaDose => self.give(amount / NH3_PER_N * VOLUME_FACTOR, 0.05),
            EventKind::Food => {
                let grams = amount * FOOD_PROTEIN * N_PER_PROTEIN * FOOD_N_EXCRETED;
                let volume = facts.volume_l.filter(|volume| *volume > 0.0).unwrap_or(100.0);
                self.give(grams * 1000.0 / volume * VOLUME_FACTOR, FOOD_SD);
            }
            EventKind::WaterChange => self.dilute((amount / 100.0).clamp(0.0, 1.0), facts),
            _ => {}
        }
    }

    fn give(&mut self, nitrogen: f64, relative_sd: f64) {
        self.total += nitrogen;
        self.dosed += nitrogen;
        self.variance += (relative_sd * nitrogen).powi(2);
    }

    fn dilute(&mut self, share: f64, facts: &TankFacts) {
        let tap = tap_nitrogen(facts).value;
        self.total += share * (tap - self.total);
        self.dosed *= 1.0 - share;
        // A change is told to about five points of a hundred.
        self.variance = self.variance * (1.0 - share).powi(2) + (0.05 * self.total).powi(2);
    }
}

/// Nitrogen of the tap water, mg/L as N.
fn tap_nitrogen(facts: &TankFacts) -> Estimate {
    let (nitrate, sd) = facts.tap.nitrate_mg_l.map_or(UNKNOWN_TAP_NITRATE, |told| (told, 2.0));
    Estimate {
        value: nitrate / NO3_PER_N + facts.tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
        sd: sd / NO3_PER_N,
    }
}

/// Draws up the balance of `series`.
pub fn balance(series: &Series, facts: &TankFacts) -> Balance {
    let tap = tap_nitrogen(facts);
    let mut ledger = Ledger { total: tap.value, dosed: 0.0, variance: tap.sd.powi(2) };
    let mut deeds = series.deeds.iter().peekable();
    let mut points = Vec::with_capacity(series.samples.len());
    for sample in &series.samples {
        while let Some(deed) = deeds.next_if(|deed| deed.day <= sample.day) {
            ledger.act(deed, facts);
        }
        points.push(point(sample, ledger.estimate()));
    }
    let found_as_nitrate = found_as_nitrate(&points, &series.samples, tap.value);
    let alkalinity_meq_l = alkalinity(series, facts);
    Balance { points, found_as_nitrate, alkalinity_meq_l }
}

fn point(sample: &Sample, expected: Estimate) -> BalancePoint {
    let seen = seen(sample);
    let residual =
        seen.map(|seen| Estimate { value: seen.value - expected.value, sd: seen.sd.hypot(expected.sd) });
    BalancePoint { at: sample.at, day: sample.day, expected, seen, residual }
}

fn seen(sample: &Sample) -> Option<Estimate> {
    let levels = [(sample.ammonia, OTHER_BIAS), (sample.nitrite, OTHER_BIAS), (sample.nitrate, NITRATE_BIAS)];
    let mut sum = Estimate { value: 0.0, sd: 0.0 };
    for (level, bias) in levels {
        let level = level.filter(|level| !level.above)?;
        sum.value += level.value;
        sum.sd = sum.sd.hypot(level.sd).hypot(bias * level.value);
    }
    Some(sum)
}

/// Weighted regression through the origin of nitrate gained on nitrogen that left the first two pools.
fn found_as_nitrate(points: &[BalancePoint], samples: &[Sample], tap: f64) -> Option<Estimate> {
    let known = |level: Option<Level>| level.filter(|level| !level.above);
    let (mut xy, mut xx) = (0.0, 0.0);
    for (point, sample) in points.iter().zip(samples) {
        let (Some(ammonia), Some(nitrite), Some(nitrate)) =
            (known(sample.ammonia), known(sample.nitrite), known(sample.nitrate))
        else {
            continue;
        };
        let left = point.expected.value - ammonia.value - nitrite.value - tap;
        let error = nitrate.sd.hypot(point.expected.sd).hypot(ammonia.sd).hypot(nitrite.sd);
        let weight = 1.0 / (error * error);
        xy += weight * left * (nitrate.value - tap);
        xx += weight * left * left;
    }
    if xx < 4.0 {
        return None;
    }
    let share = xy / xx;
    Some(Estimate { value: share, sd: (1.0 / xx).sqrt().hypot(NITRATE_BIAS * share) })
}

/// Alkalinity now, reckoned from the tap water's or the last reading: each mg of N that was given and no
/// longer stands as ammonia took its share of the buffer; changes of water bring fresh buffer, and so does
/// ammonia given as the base it is in solution (one equivalent a mole).
fn alkalinity(series: &Series, facts: &TankFacts) -> Option<f64> {
    let tap = facts.tap.alkalinity_meq_l;
    let read = series.samples.iter().rev().find_map(|sample| Some((sample.day, sample.alkalinity?.value)));
    let per_dosed = match facts.ammonia_source.as_deref() {
        Some("ammonia solution") => MEQ_PER_MG_N - 1.0 / atomic_weight::N,
        _ => MEQ_PER_MG_N,
    };
    let stood = |day: f64| {
        let before = series.samples.iter().rev().filter(|sample| sample.day <= day);
        before.filter_map(|sample| sample.ammonia).next().map_or(0.0, |ammonia| ammonia.value)
    };
    // What stood as ammonia at the reading has yet to take its share of it.
    let read = read.map(|(day, level)| (day, level - stood(day) * MEQ_PER_MG_N));
    let (from, mut level) = read.or_else(|| Some((f64::NEG_INFINITY, tap?)))?;
    let floor = level.min(0.0);
    for dated in series.deeds.iter().filter(|deed| deed.day > from) {
        let amount = dated.amount();
        match dated.deed.kind {
            EventKind::AmmoniaDose => level -= amount / NH3_PER_N * VOLUME_FACTOR * per_dosed,
            EventKind::Food => {
                let nitrogen = amount * FOOD_PROTEIN * N_PER_PROTEIN * FOOD_N_EXCRETED * 1000.0
                    / facts.volume_l.filter(|volume| *volume > 0.0).unwrap_or(100.0);
                level -= nitrogen * MEQ_PER_MG_N;
            }
            EventKind::WaterChange => {
                let share = (amount / 100.0).clamp(0.0, 1.0);
                level += share * (tap.unwrap_or(level) - level);
            }
            EventKind::AlkalinityDose => level += amount,
            _ => {}
        }
        level = level.max(floor);
    }
    Some((level + stood(f64::INFINITY) * MEQ_PER_MG_N).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::fixture::simulated;
    use crate::reading::{Measurement, Status};
    use crate::terms::Analyte;
    use approx::assert_relative_eq;

    fn ledger() -> Ledger {
        Ledger { total: 2.0, dosed: 0.0, variance: 0.0 }
    }

    fn deed(kind: EventKind, amount: f64) -> DatedDeed {
        let at = DateTime::parse_from_rfc3339("2031-03-01T10:00:00+01:00").unwrap();
        let deed =
            crate::cycle::Deed { kind, amount: Some(amount), at, note: String::new(), is_supposed: false };
        DatedDeed { day: 0.0, deed }
    }

    #[test]
    fn doses_and_changes_are_booked() {
        let mut facts = TankFacts::default();
        facts.tap.nitrate_mg_l = Some(2.0 * NO3_PER_N);
        let mut book = ledger();
        book.act(&deed(EventKind::AmmoniaDose, NH3_PER_N / VOLUME_FACTOR), &facts);
        assert_relative_eq!(book.total, 3.0, epsilon = 1e-9);
        book.act(&deed(EventKind::WaterChange, 50.0), &facts);
        assert_relative_eq!(book.total, 2.5, epsilon = 1e-9);
    }

    /// Two moles of acid for each mole of N oxidised (7.14 g CaCO3 for each g of N, textbook); ammonia
    /// solution brings one mole of base along.
    #[test]
    fn ammonia_solution_uses_half_the_buffer_that_ammonium_chloride_uses() {
        let left = |source: &str| {
            let mut facts = TankFacts { ammonia_source: Some(source.to_owned()), ..TankFacts::default() };
            facts.tap.alkalinity_meq_l = Some(2.0);
            let deeds = vec![deed(EventKind::AmmoniaDose, 4.0).deed];
            let now = deeds[0].at;
            let history = crate::cycle::TankHistory { facts: facts.clone(), measurements: Vec::new(), deeds };
            alkalinity(&Series::new(&history, now), &facts).unwrap()
        };
        let used = 4.0 / NH3_PER_N * VOLUME_FACTOR / 14.007;
        assert_relative_eq!(left("ammonium chloride"), 2.0 - 2.0 * used, epsilon = 1e-4);
        assert_relative_eq!(left("ammonia solution"), 2.0 - used, epsilon = 1e-4);
    }

    /// Two moles of acid for each mole of N oxidised: 8.5 mg/L NH3 are 7 mg/L N, and take 1 meq/L once they go.
    #[test]
    fn ammonia_that_stood_at_a_test_of_the_alkalinity_is_not_counted_for_it() {
        let left = |ammonia_later: f64| {
            let at = |hour: i64| {
                DateTime::parse_from_rfc3339("2031-03-01T10:00:00+01:00").unwrap()
                    + chrono::Duration::hours(hour)
            };
            let read = |analyte, value, hour| Measurement {
                analyte,
                status: Status::Read,
                value: Some(value),
                low: None,
                high: None,
                taken_at: at(hour),
                flags: Vec::new(),
            };
            let stood = 7.0035 * NH3_PER_N;
            let measurements = vec![
                read(Analyte::Ammonia, stood, 0),
                read(Analyte::Alkalinity, 1.5, 0),
                read(Analyte::Ammonia, ammonia_later * stood, 48),
            ];
            let history =
                crate::cycle::TankHistory { facts: TankFacts::default(), measurements, deeds: Vec::new() };
            alkalinity(&Series::new(&history, at(50)), &TankFacts::default()).unwrap()
        };
        assert_relative_eq!(left(1.0), 1.5, epsilon = 1e-3);
        assert_relative_eq!(left(0.5), 1.0, epsilon = 1e-3);
        assert_relative_eq!(left(0.0), 0.5, epsilon = 1e-3);
    }

    /// Simulated histories: a bloom took the ammonia of one, bacteria oxidised it in the other.
    #[test]
    fn a_bloom_leaves_no_nitrate_and_nitrifiers_do() {
        let share = |tank: &str| {
            let (history, now) = simulated(tank);
            balance(&Series::new(&history, now), &history.facts).found_as_nitrate.unwrap()
        };
        let bloom = share("tank_016");
        assert!(bloom.value + 1.5 * bloom.sd < 0.6, "{bloom:?}");
        let colony = share("tank_025");
        assert!(colony.value - 2.0 * colony.sd > 0.5, "{colony:?}");
    }

    #[test]
    fn the_residual_of_a_sound_log_stays_within_its_error() {
        let (history, now) = simulated("tank_012");
        let drawn = balance(&Series::new(&history, now), &history.facts);
        for point in drawn.points.iter().filter(|point| point.day < 4.0) {
            if let Some(residual) = point.residual {
                assert!(residual.value.abs() < 3.0 * residual.sd, "{point:?}");
            }
        }
    }
}
