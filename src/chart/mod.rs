//! A kit's chart, and whether the kit still keeps to it.

pub mod control;
