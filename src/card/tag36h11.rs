//! Codes of the open tag family 36h11.

/// Codes as 6 by 6 rasters, row by row, first bit highest, 1 = white.
pub const CODES: [u64; 20] = [
    0x21a146bab,
    0x92d18fe9b,
    0x7089014bb,
    0x193979e27,
    0x44153d3d7,
    0x35cd5b8cf,
    0xa10ba56a0,
    0x2b874a608,
    0xb57fb8d44,
    0x4e20b5a64,
    0x61d897f2c,
    0xab3469ffc,
    0x594ca45c2,
    0xfa1c2d2e2,
    0x97c24b972,
    0x75928624a,
    0x1caafe99a,
    0x3236ddc16,
    0x884e527d6,
    0x5771a8c7e,
];
