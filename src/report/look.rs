//! The look that pictures and pages share: a few colours, each of which something else says as well.

/// A colour, 8-bit sRGB.
pub type Rgb = [u8; 3];

/// Ground of panels.
pub const GROUND: Rgb = [0xfa, 0xf7, 0xf0];
/// Text and axes.
pub const INK: Rgb = [0x1d, 0x2b, 0x2f];
/// Secondary text; 4.5:1 and more on the ground.
pub const FAINT_INK: Rgb = [0x5a, 0x66, 0x68];
/// Thin rules.
pub const RULE: Rgb = [0xcf, 0xcb, 0xc0];
/// The card and its patches.
pub const CARD: Rgb = [0x0b, 0x6e, 0x75];
/// What was measured.
pub const SAMPLE: Rgb = [0xb0, 0x3a, 0x2e];
/// Curves of the red, green and blue channel: told apart by lightness and by marker as well.
pub const CHANNELS: [Rgb; 3] = [[0xc4, 0x5a, 0x2c], [0x3f, 0x8f, 0x6b], [0x24, 0x34, 0x7a]];
