//! The particle filter: from a series to weighted courses.

use std::sync::Arc;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::deeds::Source;
use super::likelihood::{Charts, Reading, Slip, likelihood, reading_of};
use super::particle::Particle;
use super::step::advance;
use crate::cycle::series::{Level, Sample, Series};
use crate::terms::TankFacts;

/// Courses that are followed.
pub const PARTICLES: usize = 3000;

/// Resample when fewer than this share of the courses carry the weight.
const RESAMPLE_BELOW: f64 = 0.5;

/// Seed of every run: the same history gives the same verdict.
const SEED: u64 = 0x7469_6e74;

/// Weighted courses at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Cloud {
    /// Days since the series' origin.
    pub day: f64,
    /// The courses.
    pub particles: Vec<Particle>,
    /// Their weights, summing to one.
    pub weights: Vec<f64>,
}

impl Cloud {
    fn new(facts: &TankFacts, count: usize, rng: &mut Pcg64Mcg) -> Self {
        let particles = (0..count).map(|_| Particle::draw(facts, rng)).collect();
        Self { day: 0.0, particles, weights: vec![1.0 / count as f64; count] }
    }

    /// Courses of a tank at the beginning of `series`: newly filled, or known only from then on.
    fn begin(series: &Series, facts: &TankFacts, rng: &mut Pcg64Mcg) -> Self {
        let Some(day) = series.opens_late() else { return Self::new(facts, PARTICLES, rng) };
        let first = |level: fn(&Sample) -> Option<Level>| {
            series.samples.iter().take_while(|sample| sample.day < day + 1.0).find_map(level)
        };
        let levels = [first(|s| s.ammonia), first(|s| s.nitrite), first(|s| s.nitrate)];
        let particles = (0..PARTICLES).map(|_| Particle::draw_running(facts, levels, rng)).collect();
        let weights = vec![1.0 / PARTICLES as f64; PARTICLES];
        // A moment earlier, so that the first record falls into the time that is followed.
        Self { day: day - 1e-3, particles, weights }
    }

    /// Courses of a newly filled tank, before anything is read.
    pub fn drawn_from_prior(facts: &TankFacts, count: usize) -> Self {
        Self::new(facts, count, &mut Pcg64Mcg::seed_from_u64(SEED))
    }

    /// Weighted mean of `f`; a probability where `f` gives 0 or 1.
    pub fn mean(&self, f: impl Fn(&Particle) -> f64) -> f64 {
        self.particles.iter().zip(&self.weights).map(|(particle, weight)| weight * f(particle)).sum()
    }

    /// Share of the weight for which `f` holds.
    pub fn probability(&self, f: impl Fn(&Particle) -> bool) -> f64 {
        self.mean(|particle| f64::from(u8::from(f(particle))))
    }

    /// Whether `f` holds for more than `share` of the weight; looks no further once that is decided.
    pub fn mostly(&self, share: f64, f: impl Fn(&Particle) -> bool) -> bool {
        let (mut held, mut failed) = (0.0, 0.0);
        for (particle, weight) in self.particles.iter().zip(&self.weights) {
            if f(particle) {
                held += weight;
            } else {
                failed += weight;
            }
            if held > share || failed >= 1.0 - share {
                break;
            }
        }
        held > share
    }

    /// Weighted quantiles of `f`, for shares in ascending order.
    pub fn quantiles<const N: usize>(&self, f: impl Fn(&Particle) -> f64, shares: [f64; N]) -> [f64; N] {
        let mut pairs: Vec<(f64, f64)> =
            self.particles.iter().map(&f).zip(self.weights.iter().copied()).collect();
        pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        shares.map(|share| {
            let mut sum = 0.0;
            pairs
                .iter()
                .find(|pair| {
                    sum += pair.1;
                    sum >= share
                })
                .or(pairs.last())
                .map_or(f64::NAN, |pair| pair.0)
        })
    }

    /// Carries every course to `day`, doing the deeds of `series` in `(self.day, day]` on the way.
    pub fn carry(&mut self, series: &Series, source: &Source, day: f64, rng: &mut Pcg64Mcg) {
        let due = series.deeds.iter().filter(|deed| deed.day > self.day - 1e-9 && deed.day <= day);
        let due: Vec<_> = due.filter(|deed| deed.day > self.day || self.day == 0.0).collect();
        for deed in due {
            self.age(deed.day, rng);
            for particle in &mut self.particles {
                source.apply(particle, deed, rng);
            }
        }
        self.age(day, rng);
    }

    /// Carries every course to `day` without any deed.
    pub fn age(&mut self, day: f64, rng: &mut Pcg64Mcg) {
        if day > self.day {
            for particle in &mut self.particles {
                advance(particle, day - self.day, rng);
            }
            self.day = day;
        }
    }

    /// Weighs the courses by a test; returns the logarithm of its probability.
    pub fn weigh(&mut self, reading: &Reading, slip: Slip, charts: &Charts) -> f64 {
        for (weight, particle) in self.weights.iter_mut().zip(&self.particles) {
            *weight *= likelihood(particle, reading, slip, charts);
        }
        let sum: f64 = self.weights.iter().sum();
        for weight in &mut self.weights {
            *weight /= sum;
        }
        sum.ln()
    }

    /// Draws equally weighted courses anew if few carry the weight.
    pub fn refresh(&mut self, rng: &mut Pcg64Mcg) {
        let effective = 1.0 / self.weights.iter().map(|weight| weight * weight).sum::<f64>();
        if effective < RESAMPLE_BELOW * self.particles.len() as f64 {
            *self = self.drawn(self.particles.len(), rng);
            for particle in &mut self.particles {
                particle.roughen(rng);
            }
        }
    }

    /// `count` equally weighted courses drawn from this cloud (systematic resampling).
    pub fn drawn(&self, count: usize, rng: &mut Pcg64Mcg) -> Self {
        let step = 1.0 / count as f64;
        let mut pointer = rng.random::<f64>() * step;
        let (mut index, mut sum) = (0, self.weights[0]);
        let particles = (0..count)
            .map(|_| {
                while sum < pointer && index + 1 < self.weights.len() {
                    index += 1;
                    sum += self.weights[index];
                }
                pointer += step;
                self.particles[index]
            })
            .collect();
        Self { day: self.day, particles, weights: vec![step; count] }
    }
}

/// The filter's run over a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// The courses just after each test was weighed.
    pub after: Vec<Arc<Cloud>>,
    /// The courses at the moment of judgement.
    pub now: Cloud,
    /// Logarithm of the probability of each test, given those before.
    pub surprise: Vec<f64>,
    /// Where chance stood after each test, so that a run can be taken up from there.
    chance: Vec<Pcg64Mcg>,
}

impl Track {
    /// The courses after the last test up to `day`.
    pub fn after_day(&self, day: f64) -> Option<&Cloud> {
        let count = self.after.partition_point(|cloud| cloud.day <= day + 1e-9);
        self.after.get(count.checked_sub(1)?).map(Arc::as_ref)
    }
}

/// Follows `series` from its beginning.
pub fn track(series: &Series, facts: &TankFacts) -> Track {
    let mut rng = Pcg64Mcg::seed_from_u64(SEED);
    let cloud = Cloud::begin(series, facts, &mut rng);
    let nothing = Track { after: Vec::new(), now: cloud.clone(), surprise: Vec::new(), chance: Vec::new() };
    follow(series, facts, nothing, cloud, rng)
}

/// Follows `series`, of which everything up to the first `same` tests is as in `before`.
///
/// The outcome is that of [`track`], without the work done already.
pub fn track_on(series: &Series, facts: &TankFacts, before: &Track, same: usize) -> Track {
    let Some(last) = same.checked_sub(1) else { return track(series, facts) };
    let (cloud, rng) = (before.after[last].as_ref().clone(), before.chance[last].clone());
    let so_far = Track {
        after: before.after[..same].to_vec(),
        now: cloud.clone(),
        surprise: before.surprise[..same].to_vec(),
        chance: before.chance[..same].to_vec(),
    };
    follow(series, facts, so_far, cloud, rng)
}

/// Follows the tests of `series` that `track` lacks, from `cloud` on.
fn follow(
    series: &Series,
    facts: &TankFacts,
    mut track: Track,
    mut cloud: Cloud,
    mut rng: Pcg64Mcg,
) -> Track {
    let source = Source::new(facts);
    let charts = Charts::new(facts);
    for sample in &series.samples[track.after.len()..] {
        cloud.carry(series, &source, sample.day, &mut rng);
        track.surprise.push(cloud.weigh(&reading_of(sample), Slip::None, &charts));
        cloud.refresh(&mut rng);
        track.after.push(Arc::new(cloud.clone()));
        track.chance.push(rng.clone());
    }
    cloud.carry(series, &source, series.now, &mut rng);
    track.now = cloud;
    track
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::cycle::fixture::simulated;
    use crate::terms::EventKind;

    #[test]
    fn a_run_taken_up_after_any_test_ends_as_one_from_the_beginning() {
        let (history, now) = simulated("tank_012");
        let series = Series::new(&history, now);
        let whole = track(&series, &history.facts);
        for same in [0, 1, series.samples.len() / 2, series.samples.len()] {
            assert!(track_on(&series, &history.facts, &whole, same) == whole, "taken up after {same}");
        }
    }

    #[test]
    fn what_holds_mostly_has_more_than_that_probability() {
        let cloud = Cloud::drawn_from_prior(&TankFacts::default(), 500);
        for (share, bound) in [(0.6, 3e-3), (0.6, 6e-3), (0.3, 1e-2), (0.9, 0.5), (0.6, 0.0), (0.6, 9.0)] {
            let fast = |particle: &Particle| particle.ammonia_rate > bound;
            assert_eq!(cloud.mostly(share, fast), cloud.probability(fast) > share, "{share} {bound}");
        }
    }

    #[test]
    fn a_run_taken_up_before_a_change_of_the_log_ends_as_one_of_the_changed_log() {
        let (history, now) = simulated("tank_012");
        let series = Series::new(&history, now);
        let before = track(&series, &history.facts);
        let mut changed: TankHistory = history;
        let dose = changed.deeds.iter().rposition(|deed| deed.kind == EventKind::AmmoniaDose).unwrap();
        let at = changed.deeds.remove(dose).at;
        let same = series.samples.partition_point(|sample| sample.at < at);
        assert!(same > 0);
        let series = Series::new(&changed, now);
        let taken_up = track_on(&series, &changed.facts, &before, same);
        assert!(taken_up == track(&series, &changed.facts));
        assert!(taken_up != before, "the dose must matter");
    }
}
