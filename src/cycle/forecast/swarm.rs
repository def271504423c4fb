//! Many possible tanks with weights: moved through time, weighed by readings, renewed.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::deed::Setting;
use super::draw;
use super::observe::{expected, likelihood};
use super::particle::{Block, Particle, Traits};
use super::timeline::{Told, What};
use crate::cycle::chance::near_normal;
use crate::cycle::kinetics::{Lanes, Real, WIDTH, advance};
use crate::terms::{Analyte, EventKind, TankFacts};

/// Longest step while following a history, days.
pub const STEP: f64 = 0.25;

/// Wander of each colony's log capacity per square root of a day: what the model leaves out.
pub const WANDER: f64 = 0.09;
/// Doses and water changes a day that nobody wrote down.
const UNLOGGED_DOSES: f64 = 0.012;
const UNLOGGED_CHANGES: f64 = 0.008;
/// Renewal when the effective number of tanks falls below this share.
const RENEW_BELOW: f64 = 0.35;

/// Possible tanks and how far each is believed.
#[derive(Debug, Clone)]
pub struct Swarm {
    /// The tanks.
    pub blocks: Vec<Block>,
    /// Their weights, summing to one.
    pub weights: Vec<f64>,
    /// Memory that the next renewal writes into.
    spare: Vec<Block>,
    setting: Setting,
    rng: Pcg64Mcg,
    fish: f64,
    celsius: f64,
    usual_dose: f64,
}

impl Swarm {
    /// Draws `count` possible tanks, rounded up to whole blocks.
    pub fn draw(facts: &TankFacts, setting: Setting, count: usize, seed: u64) -> Self {
        let mut rng = Pcg64Mcg::seed_from_u64(seed);
        let mut blocks = vec![Block::default(); count.div_ceil(WIDTH).max(1)];
        for block in &mut blocks {
            for lane in 0..WIDTH {
                block.set_particle(lane, &draw::particle(facts, &mut rng));
            }
        }
        let count = blocks.len() * WIDTH;
        let weights = vec![1.0 / count as f64; count];
        Self {
            blocks,
            weights,
            spare: Vec::new(),
            setting,
            rng,
            fish: 0.0,
            celsius: f64::NAN,
            usual_dose: 2.0,
        }
    }

    /// Makes every tank one that has long been running: its water about as `levels` of ammonia, nitrite
    /// and nitrate say, its colonies and its buffer anything.
    pub fn settle(&mut self, levels: [Option<f64>; 3]) {
        for block in &mut self.blocks {
            for lane in 0..WIDTH {
                let mut particle = block.particle(lane);
                draw::settle(&mut particle, levels, &mut self.rng);
                block.set_particle(lane, &particle);
            }
        }
    }

    /// Fish in the tank.
    pub fn fish(&self) -> f64 {
        self.fish
    }

    /// Moves every tank from day `from` to day `to` at `celsius`.
    pub fn advance(&mut self, from: f64, to: f64, celsius: f64) {
        let days = to - from;
        if days <= 0.0 {
            return;
        }
        if celsius != self.celsius {
            self.celsius = celsius;
            self.blocks.iter_mut().for_each(|block| block.warm_to(celsius));
        }
        self.forget(days);
        let wander = WANDER * days.sqrt();
        for block in &mut self.blocks {
            block.live_in(0.5 * (from + to), self.fish, self.setting.volume_l);
            let mut shaken = |colony: &mut Lanes| {
                let by = Lanes::each(|_| (1.0 + wander * near_normal(&mut self.rng)).max(0.3));
                *colony = *colony * by;
            };
            shaken(&mut block.state.ammonia_oxidisers);
            shaken(&mut block.state.nitrite_oxidisers);
            advance(&mut block.state, &block.kinetics, &block.conditions, days, STEP);
        }
    }

    /// Lets a few tanks have seen a dose or a water change that the log does not hold.
    fn forget(&mut self, days: f64) {
        let count = self.weights.len() as f64;
        let doses = (UNLOGGED_DOSES * days * count + self.rng.random::<f64>()) as usize;
        for _ in 0..doses {
            let amount = self.usual_dose * self.rng.random_range(0.6..1.2);
            self.change_one(EventKind::AmmoniaDose, amount);
        }
        let changes = (UNLOGGED_CHANGES * days * count + self.rng.random::<f64>()) as usize;
        for _ in 0..changes {
            let percent = self.rng.random_range(15.0..70.0);
            self.change_one(EventKind::WaterChange, percent);
        }
    }

    /// Does a deed to one tank drawn at random.
    fn change_one(&mut self, kind: EventKind, amount: f64) {
        let index = self.rng.random_range(0..self.weights.len());
        let (block, lane) = (&mut self.blocks[index / WIDTH], index % WIDTH);
        let mut particle = block.particle(lane);
        self.setting.apply(kind, Some(amount), &mut particle, &mut self.rng);
        block.state.set_lane(lane, &particle.state);
    }

    /// Takes a reading or a deed into account.
    pub fn meet(&mut self, what: What) {
        match what {
            What::Test(analyte, told) => self.weigh(analyte, told),
            What::Deed(kind, amount) => self.undergo(kind, amount),
        }
    }

    /// Does a deed to every tank.
    fn undergo(&mut self, kind: EventKind, amount: Option<f64>) {
        match (kind, amount) {
            (EventKind::FishAdded, count) => self.fish = (self.fish + count.unwrap_or(1.0)).max(0.0),
            (EventKind::AmmoniaDose, Some(raise)) => self.usual_dose = raise,
            _ => {}
        }
        for block in &mut self.blocks {
            for lane in 0..WIDTH {
                let mut particle = block.particle(lane);
                self.setting.apply(kind, amount, &mut particle, &mut self.rng);
                block.state.set_lane(lane, &particle.state);
            }
        }
    }

    /// Weighs every tank by a reading, and renews the swarm if few are left.
    fn weigh(&mut self, analyte: Analyte, told: Told) {
        for (block, weights) in self.blocks.iter().zip(self.weights.chunks_exact_mut(WIDTH)) {
            let Some(shown) = expected(block, analyte) else { return };
            let likely = likelihood(analyte, told, shown);
            for (lane, weight) in weights.iter_mut().enumerate() {
                *weight *= likely.get(lane);
            }
        }
        let total: f64 = self.weights.iter().sum();
        if !(total > 0.0 && total.is_finite()) {
            let even = 1.0 / self.weights.len() as f64;
            self.weights.fill(even);
            return;
        }
        self.weights.iter_mut().for_each(|weight| *weight /= total);
        if self.effective() < RENEW_BELOW * self.weights.len() as f64 {
            self.leave_out_unfit();
            self.renew(self.effective());
        }
    }

    /// Effective number of tanks (Kong, Liu, Wong, JASA 89:278, 1994).
    pub fn effective(&self) -> f64 {
        1.0 / self.weights.iter().map(|weight| weight * weight).sum::<f64>()
    }

    /// Leaves out tanks that jitter after jitter has moved to where no drawn tank lies: colonies that could
    /// never live up to their task, however long they were fed. If there are no others, they stay.
    fn leave_out_unfit(&mut self) {
        let fit: Vec<bool> = self.blocks.iter().flat_map(|block| block.kinetics.suffice()).collect();
        let kept: f64 =
            self.weights.iter().zip(&fit).map(|(weight, fit)| if *fit { *weight } else { 0.0 }).sum();
        if kept > 0.0 {
            for (weight, fit) in self.weights.iter_mut().zip(fit) {
                *weight = if fit { *weight / kept } else { 0.0 };
            }
        }
    }

    /// Resamples, then jitters the constants about where they are.
    fn renew(&mut self, effective: f64) {
        let mut picked = std::mem::take(&mut self.spare);
        picked.resize(self.blocks.len(), Block::default());
        self.pick_into(&mut picked);
        self.spare = std::mem::replace(&mut self.blocks, picked);
        let even = 1.0 / self.weights.len() as f64;
        self.weights.fill(even);
        self.jitter(Kernel::for_sample(effective));
        if self.celsius.is_finite() {
            let celsius = self.celsius;
            self.blocks.iter_mut().for_each(|block| block.warm_to(celsius));
        }
    }

    /// Systematic resampling (Kitagawa, J. Comput. Graph. Stat. 5:1, 1996) to `count` equal tanks, all of which
    /// could live up to their task.
    pub fn pick(&mut self, count: usize) -> Vec<Block> {
        self.leave_out_unfit();
        let mut picked = vec![Block::default(); count.div_ceil(WIDTH)];
        self.pick_into(&mut picked);
        picked
    }

    /// Fills `picked` by resampling.
    fn pick_into(&mut self, picked: &mut [Block]) {
        let spacing = 1.0 / (picked.len() * WIDTH) as f64;
        let mut mark = spacing * self.rng.random::<f64>();
        let (mut sum, mut source) = (self.weights[0], 0);
        for block in picked {
            let sources = std::array::from_fn(|_| {
                while sum < mark && source + 1 < self.weights.len() {
                    source += 1;
                    sum += self.weights[source];
                }
                mark += spacing;
                (&self.blocks[source / WIDTH], source % WIDTH)
            });
            *block = Block::gather(sources);
        }
    }

    /// Kernel jitter that keeps mean and covariance (Liu & West, in Sequential Monte Carlo Methods in
    /// Practice, 2001, ch. 10). Steps are differences between two tanks drawn at random (ter Braak, Statistics
    /// and Computing 16:239, 2006), so that what the readings say of constants taken together is kept: a
    /// step in each constant alone forgets it within a few renewals.
    fn jitter(&mut self, kernel: Kernel) {
        let kinetics = means(&self.blocks, |particle| particle.kinetics.to_array());
        let traits = means(&self.blocks, |particle| particle.traits.to_array());
        for index in 0..self.blocks.len() {
            let [one, other] = [(); 2].map(|()| &self.blocks[self.rng.random_range(0..self.blocks.len())]);
            let (fast, slow) = (one.kinetics.to_array(), other.kinetics.to_array());
            let (strong, weak) = (one.traits.to_array(), other.traits.to_array());
            let block = &mut self.blocks[index];
            block.kinetics.change_each(|i, value| kernel.moved(value, kinetics[i], fast[i] - slow[i]));
            block.traits.change_each(|i, value| {
                if Traits::is_smooth(i) { kernel.moved(value, traits[i], strong[i] - weak[i]) } else { value }
            });
            block.kinetics.oxygen_share = block.kinetics.oxygen_share.at_most(Lanes::splat(1.0));
        }
    }
}

/// Mean of each field over a sample of the swarm.
fn means<const N: usize>(blocks: &[Block], fields: impl Fn(&Particle) -> [f64; N]) -> [f64; N] {
    const SAMPLE: usize = 64;
    let stride = blocks.len().div_ceil(SAMPLE);
    let mut sums = [0.0; N];
    let mut count = 0.0;
    for block in blocks.iter().step_by(stride) {
        for lane in 0..WIDTH {
            count += 1.0;
            for (sum, value) in sums.iter_mut().zip(fields(&block.particle(lane))) {
                *sum += value;
            }
        }
    }
    sums.map(|sum| sum / count)
}

/// How far a renewal explores around the tanks that are left.
#[derive(Debug, Clone, Copy)]
struct Kernel {
    /// Standard deviation of the step, in those of the swarm.
    width: f64,
    /// Share of the way back to the mean that keeps the swarm's spread as it was.
    shrinkage: f64,
}

impl Kernel {
    /// Silverman's rule, proportional to n^(-1/5) (Density Estimation, 1986, section 3.4): the fewer
    /// tanks carried the weight, the wider. His factor of 1.06 is for independent tanks; after many
    /// renewals most share ancestors, and intervals over drawn histories hold only with a larger one.
    fn for_sample(effective: f64) -> Self {
        let width = (1.8 * effective.max(1.0).powf(-0.2)).min(0.7);
        Self { width, shrinkage: 1.0 - (1.0 - width * width).sqrt() }
    }

    /// Values after shrinkage towards the mean and a step along a difference between two tanks, whose variance
    /// is twice the swarm's.
    #[inline(always)]
    fn moved(self, values: Lanes, mean: f64, difference: Lanes) -> Lanes {
        let shrunk = values + Lanes::splat(self.shrinkage) * (Lanes::splat(mean) - values);
        let step = Lanes::splat(self.width * std::f64::consts::FRAC_1_SQRT_2) * difference;
        (shrunk + step).at_least(Lanes::splat(0.3) * values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::forecast::draw::tap_water;

    fn swarm() -> Swarm {
        let facts = TankFacts::default();
        let setting = Setting { tap: tap_water(&facts), volume_l: 100.0, alkaline_dose: false };
        Swarm::draw(&facts, setting, 4000, 5)
    }

    /// Each tank's growth rates, 1/d.
    fn growths(swarm: &Swarm) -> Vec<(f64, f64)> {
        let lanes =
            swarm.blocks.iter().flat_map(|block| (0..WIDTH).map(|lane| block.particle(lane).kinetics));
        lanes.map(|kinetics| (kinetics.growth_a, kinetics.growth_n)).collect()
    }

    /// Mean and standard deviation of the first, and the correlation of both.
    fn moments(pairs: &[(f64, f64)]) -> [f64; 3] {
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len() as f64;
        let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
        let (xx, yy) = (mean(&|p| (p.0 - x).powi(2)), mean(&|p| (p.1 - y).powi(2)));
        [x, xx.sqrt(), mean(&|p| (p.0 - x) * (p.1 - y)) / (xx * yy).sqrt()]
    }

    #[test]
    fn jitter_after_jitter_keeps_mean_and_spread_and_what_goes_together() {
        let mut swarm = swarm();
        for block in &mut swarm.blocks {
            block.kinetics.growth_n = block.kinetics.growth_a + Lanes::splat(0.2) * block.kinetics.growth_n;
        }
        let before = moments(&growths(&swarm));
        for _ in 0..10 {
            swarm.jitter(Kernel::for_sample(500.0));
        }
        let after = moments(&growths(&swarm));
        assert!(before[2] > 0.9 && (after[2] - before[2]).abs() < 0.03, "{before:?} {after:?}");
        assert!((after[0] / before[0] - 1.0).abs() < 0.05, "{before:?} {after:?}");
        assert!((after[1] / before[1] - 1.0).abs() < 0.1, "{before:?} {after:?}");
    }

    #[test]
    fn no_tank_is_picked_whose_colonies_could_never_do_the_task_while_there_are_others() {
        let mut swarm = swarm();
        for block in swarm.blocks.iter_mut().step_by(2) {
            block.kinetics.decay_a = Lanes::splat(2.0);
        }
        let unfit = |blocks: &[Block]| {
            blocks.iter().flat_map(|block| block.kinetics.suffice()).filter(|fit| !fit).count()
        };
        assert!(unfit(&swarm.blocks) >= 2000);
        assert_eq!(unfit(&swarm.pick(400)), 0);
        for block in &mut swarm.blocks {
            block.kinetics.decay_a = Lanes::splat(2.0);
        }
        assert_eq!(unfit(&swarm.pick(400)), 400);
    }
}
