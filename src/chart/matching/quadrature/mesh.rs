//! Where a section of the path is looked at, and the polynomial through what is seen there.

use std::sync::LazyLock;

use crate::chart::likelihood::{Explained, LANES, Look};
use crate::chart::path::NODES_PER_PIECE;

/// Most places of a mesh.
pub const SAMPLES: usize = 7;
/// Fewest places that a polynomial is drawn through.
pub const LEAST: usize = 3;

/// Evenly spaced places of a section of one piece or two.
pub struct Mesh {
    /// Index of the section's last sample.
    pub length: usize,
    /// Samples from one place to the next.
    pub stride: usize,
    /// All places, from the first sample to the last.
    pub places: &'static [usize],
    /// Those that are no end of a piece.
    pub inner: [usize; LANES],
    /// How three ends of the pieces are to be mixed at each of them.
    pub starts: [[f64; LANES]; 3],
    /// Lagrange's weights, of so many places in a row, at the samples behind each of them.
    weights: [Vec<[[f64; LANES]; SAMPLES]>; SAMPLES + 1],
}

static ONE_PIECE: LazyLock<Mesh> = LazyLock::new(|| Mesh {
    length: NODES_PER_PIECE,
    stride: 3,
    places: &[0, 3, 6, 9, 12, 15],
    inner: [3, 6, 9, 12],
    // There are but two ends, and the second stands for the third.
    starts: [[0.8, 0.6, 0.4, 0.2], [0.2, 0.4, 0.6, 0.8], [0.0; LANES]],
    weights: std::array::from_fn(|places| weights(3, places)),
});

static TWO_PIECES: LazyLock<Mesh> = LazyLock::new(|| Mesh {
    length: 2 * NODES_PER_PIECE,
    stride: 5,
    places: &[0, 5, 10, 15, 20, 25, 30],
    inner: [5, 10, 20, 25],
    starts: parabola([1.0 / 3.0, 2.0 / 3.0, 4.0 / 3.0, 5.0 / 3.0]),
    weights: std::array::from_fn(|places| weights(5, places)),
});

/// Weights of the values at 0, 1 and 2 on the parabola through them.
pub fn parabola(at: [f64; LANES]) -> [[f64; LANES]; 3] {
    [at.map(|x| (x - 1.0) * (x - 2.0) * 0.5), at.map(|x| x * (2.0 - x)), at.map(|x| x * (x - 1.0) * 0.5)]
}

fn weights(stride: usize, places: usize) -> Vec<[[f64; LANES]; SAMPLES]> {
    let weight = |x: f64, own: usize| {
        let others = (0..places).filter(|other| *other != own);
        others.map(|other| (x - other as f64) / (own as f64 - other as f64)).product()
    };
    let behind = |place: usize, own: usize| {
        std::array::from_fn(|k| weight(place as f64 + (k + 1) as f64 / stride as f64, own))
    };
    let at = |place| std::array::from_fn(|own| if own < places { behind(place, own) } else { [0.0; LANES] });
    (0..places.saturating_sub(1)).map(at).collect()
}

impl Mesh {
    /// That of a section of so many pieces.
    pub fn of(pieces: usize) -> &'static Self {
        if pieces == 1 { &ONE_PIECE } else { &TWO_PIECES }
    }

    /// What the polynomial through some places says of the samples behind one of them.
    pub fn between(&self, samples: &[Look], place: usize) -> [Explained; LANES] {
        let weights = &self.weights[samples.len()][place];
        let (mut likelihood, mut chi_square) = ([0.0; LANES], [0.0; LANES]);
        for (Look { explained, .. }, weight) in samples.iter().zip(weights) {
            for k in 0..LANES {
                likelihood[k] += weight[k] * explained.likelihood;
                chi_square[k] += weight[k] * explained.chi_square;
            }
        }
        std::array::from_fn(|k| Explained { likelihood: likelihood[k], chi_square: chi_square[k] })
    }
}

/// Highest difference of evenly spaced values; as it may be small by chance, at least a third of those
/// before.
pub fn highest_difference(values: &[f64]) -> f64 {
    let mut differences = [0.0; SAMPLES];
    differences[..values.len()].copy_from_slice(values);
    for end in (2..values.len()).rev() {
        (0..end).for_each(|k| differences[k] = differences[k + 1] - differences[k]);
    }
    let [first, second, ..] = differences;
    (second - first).abs().max(first.abs().max(second.abs()) / 3.0)
}

/// How far off a polynomial through so many places may be from a smooth course, as a share of its highest
/// difference: about the largest value of the term with that difference in Newton's formula. Outside is
/// between the two outermost places on either side.
pub fn share(places: usize, is_outside: bool) -> f64 {
    match (places, is_outside) {
        (7, true) => 0.025,
        (7, false) => 0.01,
        (6, true) => 0.03,
        (6, false) => 0.013,
        (5, true) => 0.04,
        (5, false) => 0.025,
        (4, _) => 0.065,
        _ => 0.125,
    }
}
