//! Tintwell reads aquarium colour tests from photos, keeps the log and judges the nitrogen cycle.
//!
//! | stage | takes | gives |
//! | --- | --- | --- |
//! | [`terms`], [`math`] | | words and numbers that every stage may use |
//! | [`photo`] | a file | upright pixels, what they mean as light, capture time |
//! | [`card`] | upright pixels | the card's layout and where it lies; the card to print |
//! | [`colour`] | photo and card | illumination, patches, correction to the reference view |
//! | [`sample`] | photo, card, illumination | the vial's or the pads' robust colour |
//! | [`chart`] | colours of standards, or of a sample | the chart, or a value with its interval |
//! | [`reading`] | a match or a typed value | a dated value with its interval |
//! | [`pipeline`] | a photo and charts | readings with their evidence |
//! | [`standards`] | levels and what is at hand | how to mix them, how well they are known |
//! | [`log`] | readings and events | an append-only file, and what is live in it |
//! | [`cycle`] | a tank's history | balance, proof, stage, dangers, forecast, advice |
//! | [`report`] | readings, assessments | terminal, JSON, picture, page |
//!
//! Imports go one way: a stage uses only those above it.

#[doc = include_str!("PROMISES.md")]
pub mod promises {}

// Unit tests share the helpers of the integration tests, which name the crate from outside.
#[cfg(test)]
extern crate self as tintwell;

// Words that every stage may use.
pub mod terms;

// Statistics, linear algebra and root finding.
pub mod math;

// Photo file to upright pixels and capture time.
pub mod photo;

// The reference card: layout, printing, finding it in a photo.
pub mod card;

// Illumination, patches, and the correction of colours.
pub mod colour;

// The vial or the strip in the window, and its colour.
pub mod sample;

// A kit's chart: calibration, match, drift.
pub mod chart;

// One dated value with its interval.
pub mod reading;

// One photo through all image stages.
pub mod pipeline;

// Standard solutions and standard addition.
pub mod standards;

// Append-only file of readings and events.
pub mod log;

// Where a tank stands and what to do.
pub mod cycle;

// Terminal, JSON, pictures and pages.
pub mod report;

// Arguments, settings, and one short file a command.
pub mod cli;
