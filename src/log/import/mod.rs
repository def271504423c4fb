//! Files of others, turned into entries, each known again when it comes a second time.
//!
//! [`csv`] reads tables of readings or events and [`facts`] reads tank files; both say what they assumed
//! and which rows they left out and why. [`seen`] tells what the log holds already. [`photos`] carries
//! photos through a measuring function, many at a time.

pub mod csv;
mod decode;
pub mod facts;
pub mod name_time;
pub mod photos;
pub mod seen;
pub mod watch;

#[cfg(test)]
mod photo_tests;
#[cfg(test)]
mod tests;
