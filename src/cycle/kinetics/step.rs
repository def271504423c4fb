//! One step of the integrator.
//!
//! The Monod terms are replaced by their tangents at the midpoint of the step (a Rosenbrock scheme of
//! second order); the linear decay that results is solved with the L-stable approximation
//! `exp(-z) = 1 / (1 + z + z^2/2)`. Every flux is what one pool lost and the next is given, so that
//! nitrogen is conserved to rounding; no concentration turns negative, however long the step.

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

/// What does not change within a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions<T> {
    /// Temperature and oxygen factor of the ammonia oxidisers.
    pub activity_a: T,
    /// Temperature and oxygen factor of the nitrite oxidisers.
    pub activity_n: T,
    /// Temperature factor of decay.
    pub wear: T,
    /// Acid dissociation constant of ammonium, mol/L.
    pub ammonium: T,
    /// One over that of nitrous acid, L/mol.
    pub nitrous: T,
    /// Ammonia that fish give off, mg N/L/d.
    pub excretion: T,
    /// Most that plants and a bloom take up, mg N/L/d.
    pub uptake: T,
}

impl Conditions<f64> {
    /// Conditions at `celsius` for a tank with constants `kinetics`, without fish, plants or bloom.
    pub fn at(celsius: f64, kinetics: &Kinetics<f64>) -> Self {
        let oxygen = saturation_mg_l(celsius, 0.0) * kinetics.oxygen_share;
        Self {
            activity_a: temperature_factor(kinetics.warmth_a, celsius) * oxygen
                / (oxygen + kinetics.oxygen_a),
            activity_n: temperature_factor(kinetics.warmth_n, celsius) * oxygen
                / (oxygen + kinetics.oxygen_n),
            wear: wear(celsius),
            ammonium: ammonium_constant(celsius),
            nitrous: 1.0 / nitrous_constant(celsius),
            excretion: 0.0,
            uptake: 0.0,
        }
    }
}

/// Decay relative to 20 degrees: theta 1.04 (Metcalf & Eddy, from memory, not verified).
pub fn wear(celsius: f64) -> f64 {
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
    let nitrous_acid = nitrite * hydrogen * c.nitrous;
    let carbon = alkalinity + k.half_alkalinity;
    [
        (one + hydrogen / k.acid_a) * carbon,
        (one + hydrogen / k.acid_n) * carbon,
        one + free_ammonia / k.free_ammonia_a + nitrous_acid / k.nitrous_acid_a,
        one + free_ammonia / k.free_ammonia_n + nitrous_acid / k.nitrous_acid_n,
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

/// Carries `s` on by `days` with the loss rates of the state `at`.
#[inline(always)]
fn carry<T: Real>(s: &State<T>, at: &State<T>, k: &Kinetics<T>, c: &Conditions<T>, days: T) -> State<T> {
    let one = T::splat(1.0);
    let zero = T::splat(0.0);
    let (loss_a, loss_n) = losses(at, k, c);
    let uptake = c.uptake / (T::splat(HALF_UPTAKE) + at.ammonia);

    let organic = left_over(s.organic, zero, k.breakdown * days);
    let mineralised = s.organic - organic;
    let supply = mineralised + c.excretion * days;

    let inflow = supply - loss_a.constant * days;
    let ammonia = left_over(s.ammonia, inflow, (loss_a.slope + uptake) * days).at_least(zero);
    let removed = s.ammonia + supply - ammonia;
    let oxidised = removed * (loss_a.specific / (loss_a.specific + uptake + T::splat(1e-12)));

    let inflow = oxidised - loss_n.constant * days;
    let nitrite = left_over(s.nitrite, inflow, loss_n.slope * days).at_least(zero);
    let to_nitrate = s.nitrite + oxidised - nitrite;

    let room_a = one - at.ammonia_oxidisers / k.full_a;
    let room_n = one - at.nitrite_oxidisers / k.full_n;
    let grown = |capacity: T, growth: T, flux: T, room: T, decay: T| {
        left_over(capacity, growth * flux * room.at_least(zero), decay * c.wear * days)
    };
    State {
        ammonia,
        nitrite,
        nitrate: s.nitrate + to_nitrate,
        organic,
        assimilated: s.assimilated + (removed - oxidised),
        alkalinity: (s.alkalinity + (supply - oxidised - oxidised) * T::splat(0.5 * MEQ_PER_MG_N))
            .at_least(T::splat(LEAST_ALKALINITY)),
        ammonia_oxidisers: grown(s.ammonia_oxidisers, k.growth_a, oxidised, room_a, k.decay_a),
        nitrite_oxidisers: grown(s.nitrite_oxidisers, k.growth_n, to_nitrate, room_n, k.decay_n),
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
