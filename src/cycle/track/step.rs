//! Carrying one course forward in time.

use rand::RngExt;
use rand_pcg::Pcg64Mcg;

use super::particle::Particle;
use crate::cycle::chance::near_normal;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};

/// Longest step, days.
const STEP: f64 = 0.375;
/// Longest step within a proof, days: its outcome hangs on small remainders.
const PROOF_STEP: f64 = 1.0 / 12.0;
/// Rates wander once in this many days.
const SPELL: f64 = 0.75;
/// How often, a day, something begins and ceases to hold growth back: acid, poison, want of oxygen.
const HOLD: (f64, f64) = (0.04, 0.08);
/// How far the logarithm of a rate wanders in a day.
const WANDER: f64 = 0.15;
/// Chance that a rate jumps within a day: filters clog, tap water kills, acid stops, a pump is set right.
const JUMP: f64 = 0.05;
/// Share of jumps that strike both colonies alike, and that go down.
const JUMP_SHARES: (f64, f64) = (0.6, 0.65);
/// Mean size of a jump in the logarithm of the rate.
const JUMP_SIZE: f64 = 1.2;
/// Breakdown of food, 1/d (rough; common practice, no source).
const BREAKDOWN: f64 = 0.6;
/// Ammonia at half the uptake of a bloom, mg/L N.
const UPTAKE_HALF: f64 = 0.1;
/// Nitrate at half the uptake of plants, mg/L N.
const NITRATE_HALF: f64 = 1.0;
/// Nitrate that plants take instead of ammonia, as a share: they prefer ammonia.
const NITRATE_TAKEN: f64 = 0.6;
/// Fading of a bloom, 1/d: it lasts days to two weeks (common practice, no source).
const BLOOM_FADES: f64 = 0.12;
/// Most that a start-up filter was ever seen to oxidise, mg/L N a day.
const FASTEST: f64 = 40.0;

/// Ammonia of a proof, mg/L as N: 2 mg/L as NH3 (common practice, no source).
pub const PROOF_DOSE: f64 = 2.0 / NH3_PER_N;
/// What counts as zero at the end of a proof, mg/L of the ion (common practice, no source).
const PROOF_ZERO: f64 = 0.1;
/// Share of the dose that must have become nitrate.
const PROOF_SHARE: f64 = 0.7;

/// Carries `particle` on by `days`, its rates wandering.
pub fn advance(particle: &mut Particle, days: f64, rng: &mut Pcg64Mcg) {
    let spells = (days / SPELL).ceil().max(1.0);
    let spell = days / spells;
    let steps = (spell / STEP).ceil().max(1.0);
    let dt = spell / steps;
    for _ in 0..spells as usize {
        change_vigour(particle, spell, rng);
        wander(particle, spell, rng);
        for _ in 0..steps as usize {
            let (fed_a, fed_n) = flow(particle, dt);
            grow(particle, fed_a, fed_n, dt);
        }
    }
}

/// Moves nitrogen down the chain for `dt` days; returns how sated each colony was, 0 to 1.
///
/// The Monod terms are linearised; `1 / (1 + z + z²/2)` solves the linear decay to second order and keeps
/// every pool positive. What leaves one pool enters the next, so that nitrogen is conserved.
fn flow(particle: &mut Particle, dt: f64) -> (f64, f64) {
    let mut supply = particle.excretion * dt;
    if particle.organic > 0.0 {
        let organic = left(particle.organic, 0.0, BREAKDOWN * dt);
        supply += particle.organic - organic;
        particle.organic = organic;
    }

    let oxidation = particle.ammonia_rate / (particle.ammonia_half + particle.ammonia + 0.5 * supply);
    let uptake = (particle.bloom + particle.planted) / (UPTAKE_HALF + particle.ammonia + 0.5 * supply);
    let ammonia = left(particle.ammonia, supply, (oxidation + uptake) * dt);
    let mut oxidised = particle.ammonia + supply - ammonia;
    if uptake > 0.0 {
        oxidised *= oxidation / (oxidation + uptake);
    }

    let mean_nitrite = particle.nitrite + 0.5 * oxidised;
    let oxidation_n = particle.nitrite_rate / (particle.nitrite_half + mean_nitrite);
    let nitrite = left(particle.nitrite, oxidised, oxidation_n * dt);
    let made = particle.nitrite + oxidised - nitrite;

    particle.ammonia = ammonia;
    particle.nitrite = nitrite;
    particle.nitrate += made;
    if particle.planted > 0.0 {
        let hungry = UPTAKE_HALF / (UPTAKE_HALF + ammonia);
        let taken = particle.planted * hungry * NITRATE_TAKEN / (NITRATE_HALF + particle.nitrate);
        particle.nitrate = left(particle.nitrate, 0.0, taken * dt);
    }
    let sated = |flux: f64, rate: f64| (flux / (rate * dt).max(1e-9)).min(1.0);
    (sated(oxidised, particle.ammonia_rate), sated(made, particle.nitrite_rate))
}

fn left(pool: f64, inflow: f64, z: f64) -> f64 {
    (pool + inflow * (1.0 + 0.5 * z)) / (1.0 + z + 0.5 * z * z)
}

fn grow(particle: &mut Particle, fed_a: f64, fed_n: f64, dt: f64) {
    let grown = |rate: f64, growth: f64, fed: f64| {
        let room = 1.0 - rate * (1.0 / FASTEST);
        let x = (growth * particle.vigour * fed * room - particle.decay) * dt;
        // exp(x) to second order: x is small.
        rate * (1.0 + x + 0.5 * x * x)
    };
    particle.ammonia_rate = grown(particle.ammonia_rate, particle.ammonia_growth, fed_a);
    particle.nitrite_rate = grown(particle.nitrite_rate, particle.nitrite_growth, fed_n);
    if particle.bloom > 0.0 {
        particle.bloom = left(particle.bloom, 0.0, BLOOM_FADES * dt);
    }
}

/// Whether something holds growth back for a while, and how much.
fn change_vigour(particle: &mut Particle, days: f64, rng: &mut Pcg64Mcg) {
    let luck: f64 = rng.random();
    if luck < HOLD.0 * days {
        particle.vigour = rng.random::<f64>();
    } else if luck < (HOLD.0 + HOLD.1) * days {
        particle.vigour = 1.0;
    }
}

fn wander(particle: &mut Particle, days: f64, rng: &mut Pcg64Mcg) {
    let spread = WANDER * days.sqrt();
    let mut by = [spread * near_normal(rng), spread * near_normal(rng)];
    if rng.random_bool((JUMP * days).clamp(0.0, 1.0)) {
        let size = -JUMP_SIZE * rng.random_range(1e-6..1.0f64).ln();
        let jump = if rng.random_bool(JUMP_SHARES.1) { -size } else { size };
        if rng.random_bool(JUMP_SHARES.0) {
            by = by.map(|step| step + jump);
        } else {
            by[rng.random_range(0..2usize)] += jump;
        }
    }
    if particle.bloom > 0.0 {
        particle.bloom *= (2.0 * spread * near_normal(rng)).exp();
    }
    if particle.planted > 0.0 {
        particle.planted *= (spread * near_normal(rng)).exp();
    }
    particle.ammonia_rate = (particle.ammonia_rate * by[0].exp()).clamp(1e-5, FASTEST);
    particle.nitrite_rate = (particle.nitrite_rate * by[1].exp()).clamp(1e-5, FASTEST);
}

/// What a proof would leave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProofEnd {
    /// The larger of ammonia as NH3 and nitrite as NO2 after 24 h, mg/L.
    pub residual: f64,
    /// Nitrate made, as a share of the dose.
    pub oxidised_share: f64,
}

impl ProofEnd {
    /// Whether the proof passes: nothing left that counts, and the dose become nitrate.
    pub fn passes(&self) -> bool {
        self.residual < PROOF_ZERO && self.oxidised_share >= PROOF_SHARE
    }
}

/// A cheap bound: whether the nitrite oxidisers could make what a proof asks within the day, even sated.
pub fn can_pass(particle: &Particle) -> bool {
    particle.nitrite_rate * particle.nitrite_growth.exp() >= PROOF_SHARE * PROOF_DOSE
}

/// Plays a proof begun in the state of `particle`: ammonia is brought to 2 mg/L, and 24 h pass.
pub fn proof_end(particle: &Particle) -> ProofEnd {
    let mut proved = *particle;
    proved.ammonia = proved.ammonia.max(PROOF_DOSE);
    let before = proved.nitrate;
    let steps = (1.0 / PROOF_STEP).round() as usize;
    for _ in 0..steps {
        let (fed_a, fed_n) = flow(&mut proved, PROOF_STEP);
        grow(&mut proved, fed_a, fed_n, PROOF_STEP);
    }
    ProofEnd {
        residual: (proved.ammonia * NH3_PER_N).max(proved.nitrite * NO2_PER_N),
        oxidised_share: (proved.nitrate - before) / PROOF_DOSE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::TankFacts;
    use approx::assert_relative_eq;
    use rand::SeedableRng;

    fn total(particle: &Particle) -> f64 {
        particle.ammonia + particle.nitrite + particle.nitrate + particle.organic
    }

    proptest::proptest! {
        #[test]
        fn nitrogen_is_conserved_without_uptake(seed in 0u64..500, ammonia in 0.0..8.0f64, days in 0.1..9.0f64) {
            let mut rng = Pcg64Mcg::seed_from_u64(seed);
            let mut particle = Particle::draw(&TankFacts::default(), &mut rng);
            (particle.bloom, particle.planted) = (0.0, 0.0);
            particle.ammonia = ammonia;
            particle.organic = 1.0;
            let before = total(&particle);
            advance(&mut particle, days, &mut rng);
            proptest::prop_assert!((total(&particle) - before).abs() < 1e-9 * before.max(1.0));
            proptest::prop_assert!(particle.ammonia >= 0.0 && particle.nitrite >= 0.0);
        }
    }

    #[test]
    fn a_strong_colony_passes_and_a_bloom_does_not() {
        let mut rng = Pcg64Mcg::seed_from_u64(7);
        let mut particle = Particle::draw(&TankFacts::default(), &mut rng);
        (particle.planted, particle.bloom) = (0.0, 0.0);
        (particle.ammonia_half, particle.nitrite_half) = (0.3, 0.3);
        (particle.ammonia_rate, particle.nitrite_rate) = (8.0, 8.0);
        assert!(proof_end(&particle).passes());
        (particle.ammonia_rate, particle.nitrite_rate, particle.bloom) = (0.01, 0.01, 9.0);
        let bloom = proof_end(&particle);
        assert!(!bloom.passes() && bloom.residual < 0.1 && bloom.oxidised_share < 0.1);
    }

    /// With ammonia far above its half-saturation and no growth the fall is a straight line.
    #[test]
    fn a_sated_colony_oxidises_at_its_rate() {
        let mut rng = Pcg64Mcg::seed_from_u64(7);
        let mut particle = Particle::draw(&TankFacts::default(), &mut rng);
        (particle.planted, particle.bloom) = (0.0, 0.0);
        (particle.ammonia_half, particle.ammonia) = (1e-6, 10.0);
        particle.ammonia_rate = 2.0;
        for _ in 0..40 {
            flow(&mut particle, 0.025);
        }
        assert_relative_eq!(particle.ammonia, 8.0, epsilon = 1e-2);
    }
}
