//! The reference card: what is printed where, and finding it in a photo.
//!
//! Gives a [`CardView`]: the layout, the projection from card millimetres to photo pixels, and how
//! well it fits.

pub mod layout;
pub mod print;
pub mod slips;
pub mod tag36h11;

mod decode;
mod find;
mod grey;
mod homography;
mod quads;
mod refine;

pub use find::{CardError, CardView, Sketch, find};
pub use grey::SRGB_TO_LINEAR;
pub use homography::{Homography, Point, distance};
