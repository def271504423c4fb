//! When the tank will be ready, with an interval that keeps its word.
//!
//! [`Filter::run`] follows a history with many possible tanks (sequential Monte Carlo): each is moved
//! by the [kinetic model](super::kinetics), weighed by every reading, and renewed when few are left.
//! What remains is a [`Posterior`], carried on into the coming weeks with the keeper's habits; it
//! answers when the proof would first pass, how likely it passes now, and what each colony can do. The days
//! of the proof are pooled with a climatology ([`TABLE`]), so that they rest on more than one model.

mod ahead;
#[cfg(test)]
mod calibration;
mod climatology;
mod deed;
mod draw;
mod filter;
mod keeper;
mod next_test;
mod observe;
mod particle;
mod posterior;
mod quantile;
mod settling;
mod swarm;
mod timeline;
mod weighted;
mod what_if;

pub use ahead::{HORIZON, Water};
pub use climatology::{Line, Phase, Signs, TABLE};
pub use filter::{Filter, Settings};
pub use keeper::{Keeper, Redosing};
pub use next_test::{NextTest, Test};
pub use posterior::{Capacity, DateSpan, Evidence, Hindrance, Posterior, Unforeseen};
pub use quantile::Span;
pub use settling::{Awaited, LOW_MG_L, Settling};
pub use what_if::{Action, Comparison};
