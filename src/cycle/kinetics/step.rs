//! One step of the integrator.
//!
//! The Monod terms are replaced by their tangents at the midpoint of the step (a Rosenbrock scheme of
//! second order); the linear decay that results is solved with the L-stable approximation
//! `exp(-z) = 1 / (1 + z + z^2/2)`. Every flux is what one pool lost and the next is given, so that
//! nitrogen is conserved to rounding; no concentration turns negative, however long the step. A flux is
//! never the difference of two pools, which a colony of a few bacteria would not show in single precision.

use super::lanes::Real;
use super::state::{Kinetics, State};
use super::water::{ammonium_constant, nitrous_constant, temperature_factor};
use crate::cycle::oxygen::saturation_mg_l;

/// Milliequivalents of alkalinity used per mg N of ammonia oxidised: two equivalents per mole.
pub const MEQ_PER_MG_N: f64 = 2.0 / crate::terms::unit::atomic_weight::N;

/// Alkalinity below which none is taken, meq/L: keeps the pH finite.
const LEAST_ALKALINITY: f64 = 0.01;

/// Half-saturation of plants and bloom for ammonia, mg N/L (rough; the uptake rate matters more).
const HALF_UPTAKE: f64 = 0.1;

/// What does not change within a stretch of time. Divisors are kept as their inverses.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Conditions<T> {
    /// Temperature and oxygen factor of the ammonia oxidisers.
    pub activity_a: T,
    /// Temperature and oxygen factor of the nitrite oxidisers.
    pub activity_n: T,
    /// Temperature factor of decay.
    pub wear: T,
    /// Acid dissociation constant of ammonium, mol/L.
    pub ammonium: T,
    /// Ammonia that fish give off, mg N/L/d.
    pub excretion: T,
    /// Most that plants and a bloom take up, mg N/L/d.
    pub uptake: T,
    /// One over the acid dissociation constant of nitrous acid, L/mol.
    per_nitrous: T,
    per_acid_a: T,
    per_acid_n: T,
    per_free_ammonia_a: T,
    per_free_ammonia_n: T,
    per_nitrous_acid_a: T,
    per_nitrous_acid_n: T,
    per_full_a: T,
    per_full_n: T,
}

impl<T: Real> Conditions<T> {
    /// Conditions at `celsius` for tanks with constants `k`, without fish, plants or bloom.
    pub fn at(celsius: f64, k: &Kinetics<T>) -> Self {
        let oxygen = T::splat(saturation_mg_l(celsius, 0.0)) * k.oxygen_share;
        let warm = |warmth: T| warmth.map(|rise| temperature_factor(rise, celsius));
        let per = |value: T| T::splat(1.0) / value;
        Self {
            activity_a: warm(k.warmth_a) * oxygen / (oxygen + k.oxygen_a),
            activity_n: warm(k.warmth_n) * oxygen / (oxygen + k.oxygen_n),
            wear: T::splat(wear(celsius)),
            ammonium: T::splat(ammonium_constant(celsius)),
            excretion: T::splat(0.0),
            uptake: T::splat(0.0),
            per_nitrous: T::splat(1.0 / nitrous_constant(celsius)),
            per_acid_a: per(k.acid_a),
            per_acid_n: per(k.acid_n),
            per_free_ammonia_a: per(k.free_ammonia_a),
            per_free_ammonia_n: per(k.free_ammonia_n),
            per_nitrous_acid_a: per(k.nitrous_acid_a),
            per_nitrous_acid_n: per(k.nitrous_acid_n),
            per_full_a: per(k.full_a),
            per_full_n: per(k.full_n),
        }
    }

    /// The same with fish that give off `excretion` and plants that take up `uptake`, mg N/L/d.
    pub fn with_life(self, excretion: T, uptake: T) -> Self {
        Self { excretion, uptake, ..self }
    }
}

/// Decay relative to 20 degrees: theta 1.04 (Metcalf & Eddy, from memory, not verified).
fn wear(celsius: f64) -> f64 {
    1.04f64.powf(celsius - 20.0)
}

/// How far each colony works below its capacity, as factors between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits<T> {
    /// pH and inorganic carbon, ammonia oxidisers.
    pub acid_a: T,
    /// pH and inorganic carbon, nitrite oxidisers.
    pub acid_n: T,
    /// Free ammonia and free nitrous acid, ammonia oxidisers.
    pub poison_a: T,
    /// Free ammonia and free nitrous acid, nitrite oxidisers.
    pub poison_n: T,
}

/// Chemistry of the water at one instant: denominators of the limiting factors.
#[inline(always)]
fn denominators<T: Real>(
    ammonia: T,
    nitrite: T,
    alkalinity: T,
    k: &Kinetics<T>,
    c: &Conditions<T>,
) -> [T; 4] {
    let one = T::splat(1.0);
    let hydrogen = k.carbonic / alkalinity;
    let free_ammonia = ammonia * c.ammonium / (c.ammonium + hydrogen);
    let nitrous_acid = nitrite * hydrogen * c.per_nitrous;
    let carbon = alkalinity + k.half_alkalinity;
    [
        (one + hydrogen * c.per_acid_a) * carbon,
        (one + hydrogen * c.per_acid_n) * carbon,
        one + free_ammonia * c.per_free_ammonia_a + nitrous_acid * c.per_nitrous_acid_a,
        one + free_ammonia * c.per_free_ammonia_n + nitrous_acid * c.per_nitrous_acid_n,
    ]
}

/// What holds each colony back in the water as it stands.
pub fn limits<T: Real>(state: &State<T>, k: &Kinetics<T>, c: &Conditions<T>) -> Limits<T> {
    let [acid_a, acid_n, poison_a, poison_n] =
        denominators(state.ammonia, state.nitrite, state.alkalinity, k, c);
    let one = T::splat(1.0);
    Limits {
        acid_a: state.alkalinity / acid_a,
        acid_n: state.alkalinity / acid_n,
        poison_a: one / poison_a,
        poison_n: one / poison_n,
    }
}

/// A rate of loss, linear about some concentration: `constant` mg N/L/d and `slope` 1/d.
struct Loss<T> {
    constant: T,
    slope: T,
    /// The whole rate divided by the concentration, 1/d.
    specific: T,
}

impl<T: Real> Loss<T> {
    /// Tangent of the Monod rate `most * x / (half + x)` at `x`.
    #[inline(always)]
    fn monod(most: T, half: T, x: T) -> Self {
        let share = T::splat(1.0) / (half + x);
        let specific = most * share;
        Self { constant: specific * share * x * x, slope: specific * share * half, specific }
    }
}

/// Rates of loss of ammonia and nitrite by oxidation in the water of `s`.
#[inline(always)]
fn losses<T: Real>(s: &State<T>, k: &Kinetics<T>, c: &Conditions<T>) -> (Loss<T>, Loss<T>) {
    let [acid_a, acid_n, poison_a, poison_n] = denominators(s.ammonia, s.nitrite, s.alkalinity, k, c);
    let most_a = s.ammonia_oxidisers * c.activity_a * s.alkalinity / (acid_a * poison_a);
    let most_n = s.nitrite_oxidisers * c.activity_n * s.alkalinity / (acid_n * poison_n);
    (Loss::monod(most_a, k.half_a, s.ammonia), Loss::monod(most_n, k.half_n, s.nitrite))
}

/// What is left of `pool` after a loss `z` (rate times time) with `inflow` spread evenly.
#[inline(always)]
fn left_over<T: Real>(pool: T, inflow: T, z: T) -> T {
    let half = T::splat(0.5);
    let one = T::splat(1.0);
    (pool + inflow * (one + half * z)) / (one + z + half * z * z)
}

/// What `pool` loses by a loss `z` (rate times time) and a steady one `constant` (amount), with `inflow`
/// spread evenly; never more than there is.
#[inline(always)]
fn lost<T: Real>(pool: T, inflow: T, constant: T, z: T) -> T {
    let one = T::splat(1.0);
    let half_z = T::splat(0.5) * z;
    let square = half_z * z;
    let loss = pool * (z + square) + inflow * (half_z + square) + constant * (one + half_z);
    (loss / (one + z + square)).at_most(pool + inflow)
}

/// Carries `s` on by `days` with the loss rates of the state `at`.
#[inline(always)]
fn carry<T: Real>(s: &State<T>, at: &State<T>, k: &Kinetics<T>, c: &Conditions<T>, days: T) -> State<T> {
    let one = T::splat(1.0);
    let zero = T::splat(0.0);
    let (loss_a, loss_n) = losses(at, k, c);
    let uptake = c.uptake / (T::splat(HALF_UPTAKE) + at.ammonia);

    let mineralised = lost(s.organic, zero, zero, k.breakdown * days);
    let supply = mineralised + c.excretion * days;

    let removed = lost(s.ammonia, supply, loss_a.constant * days, (loss_a.slope + uptake) * days);
    let oxidised = removed * (loss_a.specific / (loss_a.specific + uptake + T::splat(1e-12)));

    let to_nitrate = lost(s.nitrite, oxidised, loss_n.constant * days, loss_n.slope * days);

    let room_a = one - at.ammonia_oxidisers * c.per_full_a;
    let room_n = one - at.nitrite_oxidisers * c.per_full_n;
    let grown_a = k.growth_a * oxidised * room_a.at_least(zero);
    let grown_n = k.growth_n * to_nitrate * room_n.at_least(zero);
    let wear = c.wear * days;
    State {
        ammonia: (s.ammonia + supply - removed).at_least(zero),
        nitrite: (s.nitrite + oxidised - to_nitrate).at_least(zero),
        nitrate: s.nitrate + to_nitrate,
        organic: (s.organic - mineralised).at_least(zero),
        assimilated: s.assimilated + (removed - oxidised),
        alkalinity: (s.alkalinity + (supply - oxidised - oxidised) * T::splat(0.5 * MEQ_PER_MG_N))
            .at_least(T::splat(LEAST_ALKALINITY)),
        ammonia_oxidisers: left_over(s.ammonia_oxidisers, grown_a, k.decay_a * wear),
        nitrite_oxidisers: left_over(s.nitrite_oxidisers, grown_n, k.decay_n * wear),
    }
}

/// Advances the tank by `days`.
#[inline(always)]
pub fn step<T: Real>(state: &State<T>, k: &Kinetics<T>, c: &Conditions<T>, days: f64) -> State<T> {
    let middle = carry(state, state, k, c, T::splat(0.5 * days));
    carry(state, &middle, k, c, T::splat(days))
}

/// Advances the tank by `days` in equal steps of at most `longest`.
pub fn advance<T: Real>(state: &mut State<T>, k: &Kinetics<T>, c: &Conditions<T>, days: f64, longest: f64) {
    let steps = (days / longest).ceil().max(1.0);
    for _ in 0..steps as usize {
        *state = step(state, k, c, days / steps);
    }
}
