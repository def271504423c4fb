//! Statistics, linear algebra helpers and root finding: no word of the trade.

pub mod digits;
pub mod exp;
pub mod lanes;
pub mod line;
pub mod pchip;
pub mod regression;
pub mod stats;
pub mod student;
