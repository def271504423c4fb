//! Possible tanks carried on into the coming weeks, the keeper going on as before.

use rand::{Rng, RngExt, SeedableRng};
use rand_distr::{Beta, Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;

use super::deed::Setting;
use super::keeper::{Keeper, Redosing};
use super::particle::Block;
use super::settling::Settled;
use super::swarm::WANDER;
use crate::cycle::chance::near_normal;
use crate::cycle::kinetics::{
    Lanes, PROOF_DOSE, ProofEnd, Real, State, WIDTH, advance, begin_proof, finish_proof,
};
use crate::terms::EventKind;
use crate::terms::unit::NH3_PER_N;

/// How far the forecast looks, days.
pub const HORIZON: f64 = 90.0;

/// Grid on which the proof is tried, days.
const GRID: f64 = 0.25;

/// The water of every possible tank at some day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// Ammonia, mg N/L.
    pub ammonia: f64,
    /// Nitrite, mg N/L.
    pub nitrite: f64,
    /// Nitrate, mg N/L.
    pub nitrate: f64,
}

/// What becomes of the possible tanks.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// Days from now until a proof would first pass; infinite if not within the horizon.
    pub days: Vec<f64>,
    /// Days from now from which on ammonia and nitrite stay low; infinite if not within the horizon, and
    /// where no fish are in or it was not asked for.
    pub settled: Vec<f64>,
    /// For each coming day, the water of each possible tank.
    pub course: Vec<Vec<Water>>,
}

/// Everything that drives the coming weeks.
#[derive(Debug, Clone, Copy)]
pub struct Ahead {
    /// The tank's facts as deeds need them.
    pub setting: Setting,
    /// The keeper's habits.
    pub keeper: Keeper,
    /// Now, days since the start.
    pub now: f64,
    /// Fish in the tank.
    pub fish: f64,
    /// Whether to see, with fish in, from when on ammonia and nitrite stay low.
    pub watch_settling: bool,
    /// Seed of the coming chances; the same seed makes comparisons fair.
    pub seed: u64,
    /// Days of daily water to keep.
    pub course_days: usize,
}

/// What one tank's keeper does about a low pH.
#[derive(Debug, Clone, Copy)]
struct AcidHabit {
    /// Chance that a test finds it and it is answered.
    share: f64,
    /// pH below which it is.
    below: f64,
    /// Fraction of the volume that is changed.
    fraction: f64,
}

impl Ahead {
    /// Carries `blocks` on to the horizon; each block's conditions must be set for its temperature.
    pub fn run(&self, blocks: &[Block]) -> Outlook {
        let mut days = Vec::with_capacity(blocks.len() * WIDTH);
        let mut settled = Vec::with_capacity(blocks.len() * WIDTH);
        let mut course = vec![Vec::with_capacity(blocks.len() * WIDTH); self.course_days];
        for (index, block) in blocks.iter().enumerate() {
            let rng = Pcg64Mcg::seed_from_u64(self.seed ^ (index as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15));
            let (first, low) = self.run_block(*block, rng, &mut course);
            days.extend(first);
            settled.extend(low.days());
        }
        Outlook { days, settled, course }
    }

    /// Carries one block on: days until a proof passes, and from which on ammonia and nitrite stay low.
    fn run_block(
        &self,
        mut block: Block,
        mut rng: Pcg64Mcg,
        course: &mut [Vec<Water>],
    ) -> ([f64; WIDTH], Settled) {
        let mut first = [f64::INFINITY; WIDTH];
        let mut settled = Settled::unseen();
        let watches_settling = self.watch_settling && self.fish > 0.0;
        let acid = self.acid_habits(&mut rng);
        let mut next_test = (self.keeper.last_test - self.now + self.gap(&mut rng)).max(0.0);
        let mut next_meal = self.keeper.food.map_or(f64::INFINITY, |(every, _)| 0.5 * every);
        for tick in 0..=(HORIZON / GRID) as usize {
            let ahead = tick as f64 * GRID;
            note_passes(&block, ahead, &mut first);
            if watches_settling {
                settled.note(&block, ahead);
            }
            if tick % 4 == 0
                && let Some(water) = course.get_mut(tick / 4)
            {
                water.extend((0..WIDTH).map(|lane| water_of(&block, lane)));
            }
            let watched = tick / 4 < self.course_days;
            let seen = |days: &[f64; WIDTH]| days.iter().all(|day| day.is_finite());
            if !watched && seen(&first) && (!watches_settling || seen(&settled.days())) {
                break;
            }
            if ahead >= next_test {
                self.test(&mut block, &acid, &mut rng);
                next_test += self.gap(&mut rng);
            }
            if ahead >= next_meal {
                self.feed(&mut block, &mut rng);
                next_meal += self.keeper.food.map_or(f64::INFINITY, |(every, _)| every);
            }
            self.carry_on(&mut block, ahead, &mut rng);
        }
        (first, settled)
    }

    /// One step of the grid.
    pub(super) fn carry_on(&self, block: &mut Block, ahead: f64, rng: &mut impl Rng) {
        block.live_in(self.now + ahead, self.fish, self.setting.volume_l);
        let wander = WANDER * GRID.sqrt();
        let mut shaken = |capacity: f64| capacity * (1.0 + wander * near_normal(rng));
        block.state.ammonia_oxidisers = block.state.ammonia_oxidisers.map(&mut shaken);
        block.state.nitrite_oxidisers = block.state.nitrite_oxidisers.map(&mut shaken);
        advance(&mut block.state, &block.kinetics, &block.conditions, GRID, GRID);
    }

    /// Days until the next test.
    fn gap(&self, rng: &mut impl Rng) -> f64 {
        let deviate: f64 = StandardNormal.sample(rng);
        self.keeper.test_every * (self.keeper.test_scatter * deviate).exp()
    }

    /// What each tank's keeper does about a low pH.
    fn acid_habits(&self, rng: &mut impl Rng) -> [Option<AcidHabit>; WIDTH] {
        let habit = self.keeper.acid_change.and_then(|change| {
            let share = Beta::new(change.answered as f64 + 3.0, change.ignored as f64 + 1.0).ok()?;
            Some((change, share))
        });
        std::array::from_fn(|_| {
            let (change, share) = habit?;
            let (least, most) = change.limits;
            Some(AcidHabit {
                share: change.looked_at * share.sample(rng),
                below: rng.random_range(least..most),
                fraction: change.fraction,
            })
        })
    }

    /// The keeper tests, and answers as is their habit; `acid` tells how to low pH.
    fn test(&self, block: &mut Block, acid: &[Option<AcidHabit>; WIDTH], rng: &mut impl Rng) {
        for (lane, acid) in acid.iter().enumerate() {
            let mut particle = block.particle(lane);
            let reading = particle.state.ammonia * NH3_PER_N * particle.traits.gain_ammonia;
            let raise = match self.keeper.redosing {
                Redosing::None => 0.0,
                Redosing::WhenLow { below, up_to } if reading < below => (up_to - reading).max(0.0),
                Redosing::WhenLow { .. } => 0.0,
                Redosing::Always { amount } => amount,
            };
            let luck = rng.random::<f64>();
            if let Some(habit) = acid
                && luck < habit.share
                && particle.state.alkalinity < particle.kinetics.carbonic * 10f64.powf(habit.below)
            {
                self.setting.change_water(&mut particle, habit.fraction);
            }
            let (share, fraction) = self.keeper.water_change;
            if share > 0.0 && rng.random::<f64>() < share {
                self.setting.change_water(&mut particle, fraction);
            }
            if raise > 0.0 {
                let nitrogen = raise / (NH3_PER_N * particle.traits.volume);
                self.setting.dose(&mut particle, nitrogen);
            }
            block.state.set_lane(lane, &particle.state);
        }
    }

    /// The keeper feeds.
    pub(super) fn feed(&self, block: &mut Block, rng: &mut impl Rng) {
        let Some((_, grams)) = self.keeper.food else { return };
        for lane in 0..WIDTH {
            let mut particle = block.particle(lane);
            self.setting.apply(EventKind::Food, Some(grams), &mut particle, rng);
            block.state.set_lane(lane, &particle.state);
        }
    }
}

/// One tank's water.
fn water_of(block: &Block, lane: usize) -> Water {
    Water {
        ammonia: block.state.ammonia.get(lane),
        nitrite: block.state.nitrite.get(lane),
        nitrate: block.state.nitrate.get(lane),
    }
}

/// Notes which tanks a proof begun now would pass for the first time.
fn note_passes(block: &Block, ahead: f64, first: &mut [f64; WIDTH]) {
    let hopeful = able(block);
    if !(0..WIDTH).any(|lane| hopeful[lane] && first[lane].is_infinite()) {
        return;
    }
    for (lane, end) in proofs(block).iter().enumerate() {
        if first[lane].is_infinite() && end.passes() {
            first[lane] = ahead;
        }
    }
}

/// A cheap bound: whether each tank could possibly oxidise what a proof asks within the day.
fn able(block: &Block) -> [bool; WIDTH] {
    let (s, k, c) = (&block.state, &block.kinetics, &block.conditions);
    std::array::from_fn(|lane| {
        let reach = |capacity: Lanes, activity: Lanes, growth: Lanes| {
            capacity.get(lane) * activity.get(lane) * (growth.get(lane) * activity.get(lane)).exp()
        };
        let dose = s.ammonia.get(lane).max(PROOF_DOSE);
        let to_nitrate = s.nitrite.get(lane) + 0.7 * dose;
        reach(s.ammonia_oxidisers, c.activity_a, k.growth_a) > 0.85 * dose
            && reach(s.nitrite_oxidisers, c.activity_n, k.growth_n) > 0.9 * to_nitrate
    })
}

/// The end of a proof begun now, in each tank; feeding and fish pause for it.
pub fn proofs(block: &Block) -> [ProofEnd<f64>; WIDTH] {
    let begun: State<Lanes> = begin_proof(&block.state);
    let end = finish_proof(&begun, &block.kinetics, &block.conditions);
    std::array::from_fn(|lane| ProofEnd {
        residual: end.residual.get(lane) * block.traits.remainder.get(lane),
        oxidised_share: end.oxidised_share.get(lane),
    })
}
