//! The proof of readiness, played through in the model.

use super::lanes::Real;
use super::state::{Kinetics, State};
use super::step::{Conditions, advance};
use crate::terms::unit::{NH3_PER_N, NO2_PER_N};

/// Ammonia at the start of a proof, mg/L as N: 2 mg/L as NH3 (common practice, no source).
pub const PROOF_DOSE: f64 = 2.0 / NH3_PER_N;

/// What a keeper's test cannot tell from zero, mg/L of the ion (common practice, no source).
const ZERO: f64 = 0.1;

/// Share of the dose that must have become nitrate.
const OXIDISED_SHARE: f64 = 0.7;

/// Longest step within a proof, days: its outcome hangs on small remainders.
const STEP: f64 = 1.0 / 8.0;

/// What a proof leaves after 24 hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProofEnd<T> {
    /// The larger of ammonia as NH3 and nitrite as NO2, mg/L.
    pub residual: T,
    /// Nitrate made, as a share of the dose.
    pub oxidised_share: T,
}

impl ProofEnd<f64> {
    /// Whether the tank is proved ready.
    pub fn passes(&self) -> bool {
        self.residual < ZERO && self.oxidised_share >= OXIDISED_SHARE
    }
}

/// Brings ammonia up to the proof's dose; more stays as it is.
pub fn begin_proof<T: Real>(state: &State<T>) -> State<T> {
    State { ammonia: state.ammonia.at_least(T::splat(PROOF_DOSE)), ..*state }
}

/// Plays the 24 hours after the dose.
pub fn finish_proof<T: Real>(begun: &State<T>, k: &Kinetics<T>, c: &Conditions<T>) -> ProofEnd<T> {
    let mut state = *begun;
    advance(&mut state, k, c, 1.0, STEP);
    let ammonia = state.ammonia * T::splat(NH3_PER_N);
    ProofEnd {
        residual: ammonia.at_least(state.nitrite * T::splat(NO2_PER_N)),
        oxidised_share: (state.nitrate - begun.nitrate) / T::splat(PROOF_DOSE),
    }
}
