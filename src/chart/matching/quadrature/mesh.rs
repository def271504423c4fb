//! Where a piece of the path is looked at, and the polynomials through what is seen there.

use std::sync::LazyLock;

use fearless_simd::prelude::*;
use fearless_simd::{Level, Simd, dispatch, f64x4};

use crate::chart::likelihood::LANES;
use crate::chart::path::NODES_PER_PIECE;

/// Places at which a piece is looked at, its two ends among them.
pub const PLACES: usize = 6;
/// Samples from one place to the next.
pub const STRIDE: usize = NODES_PER_PIECE / (PLACES - 1);
/// Samples of a piece, both ends among them.
pub const SAMPLES: usize = NODES_PER_PIECE + 1;
/// Samples between one place and the next.
pub const BETWEEN: usize = STRIDE - 1;
/// Fewest places that a polynomial is drawn through.
pub const LEAST: usize = 3;
/// Places that are no end of a piece: as many as are looked at side by side.
pub const INNER: [usize; LANES] = [STRIDE, 2 * STRIDE, 3 * STRIDE, 4 * STRIDE];

/// Lagrange's weights of the places.
struct Mesh {
    /// Of all places, at every sample.
    whole: [[f64; SAMPLES]; PLACES],
    /// Of so many places in a row, at the samples behind each of them.
    parts: [Vec<[[f64; BETWEEN]; PLACES]>; PLACES + 1],
}

static MESH: LazyLock<Mesh> = LazyLock::new(|| Mesh {
    whole: std::array::from_fn(|own| {
        std::array::from_fn(|sample| weight(PLACES, sample as f64 / STRIDE as f64, own))
    }),
    parts: std::array::from_fn(|places| (0..places.saturating_sub(1)).map(|at| behind(places, at)).collect()),
});

/// Weight of one of so many places, at a place in between.
fn weight(places: usize, x: f64, own: usize) -> f64 {
    let others = (0..places).filter(|other| *other != own);
    others.map(|other| (x - other as f64) / (own as f64 - other as f64)).product()
}

fn behind(places: usize, place: usize) -> [[f64; BETWEEN]; PLACES] {
    let at = |k: usize| place as f64 + (k + 1) as f64 / STRIDE as f64;
    std::array::from_fn(|own| {
        std::array::from_fn(|k| if own < places { weight(places, at(k), own) } else { 0.0 })
    })
}

/// What the polynomial through all places says of every sample of a piece.
pub fn course(at_places: &[f64; PLACES]) -> [f64; SAMPLES] {
    let weights = &MESH.whole;
    dispatch!(Level::new(), simd => weighed(simd, weights, at_places))
}

#[inline(always)]
fn weighed<S: Simd>(
    simd: S,
    weights: &[[f64; SAMPLES]; PLACES],
    at_places: &[f64; PLACES],
) -> [f64; SAMPLES] {
    let mut all = [f64x4::splat(simd, 0.0); SAMPLES / LANES];
    for (weights, value) in weights.iter().zip(at_places) {
        for (four, weights) in all.iter_mut().zip(weights.as_chunks::<LANES>().0) {
            let weights: f64x4<S> = (*weights).simd_into(simd);
            *four += weights * *value;
        }
    }
    let mut samples = [0.0; SAMPLES];
    for (samples, four) in samples.as_chunks_mut::<LANES>().0.iter_mut().zip(all) {
        *samples = four.into();
    }
    samples
}

/// What the polynomial through some places in a row says of the samples behind one of them.
pub fn between(at_places: &[f64], place: usize) -> [f64; BETWEEN] {
    let weights = &MESH.parts[at_places.len()][place];
    let mut between = [0.0; BETWEEN];
    for (value, weight) in at_places.iter().zip(weights) {
        between.iter_mut().zip(weight).for_each(|(sum, weight)| *sum += weight * value);
    }
    between
}

/// Weights of the values at 0, 1 and 2 on the parabola through them.
pub fn parabola(x: f64) -> [f64; 3] {
    [(x - 1.0) * (x - 2.0) * 0.5, x * (2.0 - x), x * (x - 1.0) * 0.5]
}

/// Highest difference of evenly spaced values; as it may be small by chance, at least a third of those
/// before.
pub fn highest_difference(values: &[f64]) -> f64 {
    let mut differences = [0.0; PLACES];
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
        (6, true) => 0.03,
        (6, false) => 0.013,
        (5, true) => 0.04,
        (5, false) => 0.025,
        (4, _) => 0.065,
        _ => 0.125,
    }
}
