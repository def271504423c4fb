//! Statistics, linear algebra helpers and root finding: no word of the trade.

pub mod stats;
