//! A kinetic model of the two colonies that turn ammonia into nitrite and nitrite into nitrate.
//!
//! Concentrations are mg/L as N, alkalinity meq/L, time days. A colony is counted by its capacity:
//! what it would oxidise in a day, mg N/L/d, at 20 degrees Celsius with nothing limiting. Growth is
//! proportional to what is oxidised, slowed as the surface fills, less decay. Rates fall with low
//! substrate and oxygen (Monod), low pH and alkalinity, and with free ammonia and free nitrous acid.
//! Left out: nitrogen in nitrifier biomass (about 2 % of what is oxidised), denitrification, and
//! gradients within the biofilm, which widen the apparent half-saturation instead.

mod lanes;
mod proof;
mod ranges;
mod state;
mod step;
pub mod water;

pub(crate) use lanes::numbers;
pub use lanes::{Lanes, Real, WIDTH};
pub use proof::{PROOF_DOSE, ProofEnd, begin_proof, finish_proof};
pub use ranges::{Range, prior};
pub use state::{Kinetics, State};
pub use step::{Conditions, Limits, advance, limits, step};
