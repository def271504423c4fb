//! Which test, on which of the coming days, would narrow the forecast most.
//!
//! Each possible tank says what the kit would show and when it will be ready. Tanks are sorted by
//! what the kit would show and cut into groups that one reading could not tell apart; what is left of
//! the spread of dates within the groups is what would remain after the test.

use std::fmt;

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;

use super::ahead::{HORIZON, Water};
use super::posterior::Posterior;
use crate::cycle::kinetics::ProofEnd;
use crate::math::digits::percent;
use crate::terms::Analyte;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

/// Days ahead that are considered.
const DAYS: usize = 4;
/// Groups into which a reading can sort the possible tanks.
const GROUPS: usize = 12;
/// Share of spread below which a test is not worth naming.
const WORTH: f64 = 0.05;

/// Something to test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Test {
    /// One analyte.
    Analyte(Analyte),
    /// The proof: dose, and test ammonia and nitrite a day later.
    Proof,
}

/// A test and what it is expected to bring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextTest {
    /// What to test.
    pub test: Test,
    /// In how many days; 0 is today.
    pub in_days: usize,
    /// Expected share by which the spread of the date shrinks, 0 to 1.
    pub narrows: f64,
}

impl Posterior {
    /// The possible tests, most telling first; those that tell next to nothing are left out, and all of them
    /// where next to no possible tank has a date.
    pub fn next_tests(&self) -> Vec<NextTest> {
        if 1.0 - self.never() < WORTH {
            return Vec::new();
        }
        let dates: Vec<f64> = self.outlook.days.iter().map(|day| day.min(HORIZON).ln_1p()).collect();
        let mut tests = Vec::new();
        // A proof dose would poison animals.
        if self.ahead.fish <= 0.0 {
            tests.push(NextTest { test: Test::Proof, in_days: 0, narrows: self.proof_tells(&dates) });
        }
        for analyte in [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate] {
            for (in_days, tanks) in self.outlook.course.iter().enumerate().take(DAYS) {
                let shown = self.shown(analyte, tanks);
                let narrows = explained(&shown, &dates);
                tests.push(NextTest { test: Test::Analyte(analyte), in_days, narrows });
            }
        }
        tests.retain(|test| test.narrows >= WORTH);
        tests.sort_by(|a, b| b.narrows.total_cmp(&a.narrows));
        tests
    }

    /// What the kit would show in each tank, on a scale on which its error is about even; past the
    /// chart's top all look alike.
    fn shown(&self, analyte: Analyte, tanks: &[Water]) -> Vec<f64> {
        let (factor, blank, top) = match analyte {
            Analyte::Ammonia => (NH3_PER_N, 0.08, self.chart_top.ammonia.unwrap_or(8.0)),
            Analyte::Nitrite => (NO2_PER_N, 0.08, self.chart_top.nitrite.unwrap_or(5.0)),
            _ => (NO3_PER_N, 3.0, self.chart_top.nitrate.unwrap_or(100.0)),
        };
        /// Relative error of a reading with its kit's bias (nitrate is coarser; common practice).
        const RELATIVE: f64 = 0.12;
        let mut rng = Pcg64Mcg::seed_from_u64(self.ahead.seed);
        let mut read = |water: &Water| {
            let nitrogen = match analyte {
                Analyte::Ammonia => water.ammonia,
                Analyte::Nitrite => water.nitrite,
                _ => water.nitrate,
            };
            let error: f64 = StandardNormal.sample(&mut rng);
            let seen = nitrogen * factor * (1.0 + RELATIVE * error) + 0.5 * blank * error;
            (seen.clamp(0.0, top) + blank).ln()
        };
        tanks.iter().map(&mut read).collect()
    }

    /// How much the outcome of a proof begun now would tell.
    fn proof_tells(&self, dates: &[f64]) -> f64 {
        let passes: Vec<bool> = self.ends.iter().map(ProofEnd::passes).collect();
        let of = |wanted: bool| -> Vec<f64> {
            dates.iter().zip(&passes).filter(|(_, pass)| **pass == wanted).map(|(date, _)| *date).collect()
        };
        let left = [of(true), of(false)].iter().map(|group| scatter(group)).sum::<f64>();
        1.0 - left / scatter(dates).max(f64::MIN_POSITIVE)
    }
}

/// Sum of squared deviations from the mean.
fn scatter(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|value| (value - mean).powi(2)).sum()
}

/// Share of the scatter of `dates` that knowing `shown` would explain, corrected for chance.
fn explained(shown: &[f64], dates: &[f64]) -> f64 {
    let mut order: Vec<usize> = (0..dates.len().min(shown.len())).collect();
    // Tanks that show the same must fall into groups by chance: their order is that of their ancestors.
    order.shuffle(&mut Pcg64Mcg::seed_from_u64(0));
    order.sort_by(|a, b| shown[*a].total_cmp(&shown[*b]));
    let size = order.len().div_ceil(GROUPS).max(1);
    let groups = order.chunks(size).map(|group| group.iter().map(|index| dates[*index]).collect::<Vec<_>>());
    let left: f64 = groups.map(|group| scatter(&group)).sum();
    let total = scatter(dates);
    if total <= 0.0 {
        return 0.0;
    }
    let count = order.len() as f64;
    // Each group's mean absorbs one degree of freedom by chance (adjusted coefficient of determination).
    (1.0 - left / total * (count - 1.0) / (count - GROUPS as f64).max(1.0)).max(0.0)
}

impl fmt::Display for NextTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let when = match self.in_days {
            0 => "today".to_owned(),
            1 => "tomorrow".to_owned(),
            days => format!("in {days} days"),
        };
        let share = percent(self.narrows);
        match self.test {
            Test::Proof => write!(
                f,
                "dose ammonia to 2 mg/L {when} and test ammonia and nitrite 24 hours later: decides {share} of the doubt about the date"
            ),
            Test::Analyte(analyte) => {
                write!(f, "test {analyte} {when}: settles about {share} of the doubt about the date")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::fixture::simulated;
    use crate::cycle::forecast::{Filter, Settings};
    use statrs::function::erf::erf;

    fn forecast(tank: &str) -> Posterior {
        let (history, now) = simulated(tank);
        Filter::run(&history, now, &Settings { particles: 5000, scouts: 800, seed: 1 })
    }

    /// How likely `seen` is where `level` stands, mg/L: an error of 12 % and 0.04 mg/L, cut off at nothing and at
    /// the chart's `top`.
    fn likely(level: f64, seen: f64, top: f64) -> f64 {
        let error = 0.12 * level + 0.04;
        let below = |value: f64| 0.5 * (1.0 + erf((value - level) / (error * std::f64::consts::SQRT_2)));
        if seen < 1e-9 {
            below(0.0)
        } else if seen > top - 1e-9 {
            1.0 - below(top)
        } else {
            (-0.5 * ((seen - level) / error).powi(2)).exp() / error
        }
    }

    /// Share of the scatter of dates that is gone, on average, once a test has shown what it would in one of
    /// the possible tanks and all tanks have been weighed by that (Bayes' rule).
    fn gone_by_weighing(truth: &[f64], seen: &[f64], top: f64, dates: &[f64]) -> f64 {
        let left = seen.iter().step_by(3).map(|seen| {
            let weights: Vec<f64> = truth.iter().map(|level| likely(*level, *seen, top)).collect();
            let total: f64 = weights.iter().sum();
            let mean = weights.iter().zip(dates).map(|(w, date)| w * date).sum::<f64>() / total;
            weights.iter().zip(dates).map(|(w, date)| w * (date - mean).powi(2)).sum::<f64>() / total
        });
        let left = left.sum::<f64>() / seen.iter().step_by(3).count() as f64;
        1.0 - left / (scatter(dates) / dates.len() as f64)
    }

    /// An analyte, the chart's top, and what stands of it, mg/L.
    type Kit = (Analyte, f64, fn(&Water) -> f64);

    /// What a test is said to settle is held against weighing the possible tanks by what it would show.
    #[test]
    fn a_test_settles_as_much_as_weighing_the_tanks_by_it_does() {
        let mut most = 0f64;
        for tank in ["tank_060", "tank_015", "tank_028"] {
            let posterior = forecast(tank);
            let tops = &posterior.chart_top;
            let dates: Vec<f64> = posterior.outlook.days.iter().map(|day| day.min(HORIZON).ln_1p()).collect();
            let kits: [Kit; 2] = [
                (Analyte::Ammonia, tops.ammonia.unwrap_or(8.0), |water| water.ammonia * NH3_PER_N),
                (Analyte::Nitrite, tops.nitrite.unwrap_or(5.0), |water| water.nitrite * NO2_PER_N),
            ];
            for ((analyte, top, level), in_days) in
                kits.iter().flat_map(|kit| (0..DAYS).map(move |day| (kit, day)))
            {
                let tanks = &posterior.outlook.course[in_days];
                let truth: Vec<f64> = tanks.iter().map(level).collect();
                let shown = posterior.shown(*analyte, tanks);
                // `shown` gives the logarithm of what is seen and 0.08 mg/L.
                let seen: Vec<f64> = shown.iter().map(|log| log.exp() - 0.08).collect();
                let gone = gone_by_weighing(&truth, &seen, *top, &dates);
                let said = explained(&shown, &dates);
                assert!(
                    (gone - said).abs() < 0.12,
                    "{tank} {analyte} in {in_days} d: {said:.2}, by weighing {gone:.2}"
                );
                let named = |test: &NextTest| test.test == Test::Analyte(*analyte) && test.in_days == in_days;
                let narrows = posterior.next_tests().into_iter().find(named).map(|test| test.narrows);
                assert_eq!(narrows, Some(said).filter(|said| *said >= WORTH), "{tank} {analyte} {in_days}");
                most = most.max(said);
            }
        }
        assert!(most > 0.3, "of three tanks none has a test that tells much: {most:.2}");
    }

    /// A proof parts the tanks into those that pass and those that do not; what is left is within them.
    #[test]
    fn a_proof_decides_what_parting_the_tanks_by_it_does() {
        let posterior = forecast("tank_060");
        let proof = posterior.next_tests().into_iter().find(|test| test.test == Test::Proof).unwrap();
        let dates: Vec<f64> = posterior.outlook.days.iter().map(|day| day.min(HORIZON).ln_1p()).collect();
        let passes: Vec<f64> = posterior.ends.iter().map(|end| f64::from(u8::from(end.passes()))).collect();
        // With two groups the share explained is the square of the correlation with belonging to one.
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let (of_dates, of_passes) = (mean(&dates), mean(&passes));
        let shared: f64 = dates.iter().zip(&passes).map(|(d, p)| (d - of_dates) * (p - of_passes)).sum();
        let square = shared * shared / (scatter(&dates) * scatter(&passes));
        assert!((proof.narrows - square).abs() < 1e-9, "{} against {square}", proof.narrows);
    }

    #[test]
    fn a_reading_that_follows_the_date_explains_nearly_all_of_it() {
        let dates: Vec<f64> = (0..600).map(f64::from).collect();
        assert!(explained(&dates, &dates) > 0.95);
    }

    #[test]
    fn a_reading_that_is_the_same_in_every_tank_explains_next_to_nothing() {
        let dates: Vec<f64> = (0..601).map(f64::from).collect();
        assert!(explained(&vec![1.0; 601], &dates) < 0.1);
    }
}
