//! What people and programs see.

pub mod standards;
