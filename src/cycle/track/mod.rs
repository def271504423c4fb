//! What the readings alone show of both colonies: how much ammonia and nitrite goes in a day.
//!
//! A bootstrap particle filter over the three pools and two oxidation rates. Unlike a forecast it does not
//! ask *why* a rate changes: rates grow while there is something to oxidise, fade when there is not, and
//! wander otherwise, so that inhibition, cold or a crash show as what they do. It serves the measured
//! capacity, the proof that would be begun now, and the search for faults in the log.

mod deeds;
mod filter;
mod likelihood;
mod particle;
mod step;

pub use deeds::Source;
pub use filter::{Cloud, PARTICLES, Track, track, track_on};
pub use likelihood::{Charts, Reading, Slip, likelihood, log_best, log_nonsense, reading_of};
pub use particle::Particle;
pub use step::{ProofEnd, advance, can_pass, proof_end};
