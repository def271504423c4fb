//! Hostile input made from sound input, the same for the same seed.

use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Bytes at which readers of lengths, numbers and text change their mind.
const TELLING: [&[u8]; 14] = [
    &[0],
    &[0xff],
    &[0x7f, 0xff],
    &[0xff, 0xff, 0xff, 0xff],
    &[0, 0, 0, 0, 0, 0, 0, 0],
    &[0xff, 0xd9],
    &[0xff, 0xda],
    b"1e999",
    b"-0",
    b"\"",
    b"\n",
    b",,",
    "\u{202e}".as_bytes(),
    &[0xed, 0xa0, 0x80],
];

/// A source of hostile input.
pub struct Mutator {
    rng: Pcg64Mcg,
}

impl Mutator {
    /// One that always gives the same input in the same order.
    pub fn new(seed: u64) -> Self {
        Self { rng: Pcg64Mcg::seed_from_u64(seed) }
    }

    /// One of the inputs with one to six things done to it.
    pub fn mutate(&mut self, inputs: &[Vec<u8>]) -> Vec<u8> {
        let mut bytes = inputs[self.rng.random_range(0..inputs.len())].clone();
        for _ in 0..self.rng.random_range(1..=6) {
            self.change(&mut bytes, inputs);
        }
        bytes
    }

    fn change(&mut self, bytes: &mut Vec<u8>, inputs: &[Vec<u8>]) {
        let (from, to) = self.range(bytes.len());
        match self.rng.random_range(0..8) {
            0 if !bytes.is_empty() => {
                bytes[from.min(to.saturating_sub(1))] ^= 1 << self.rng.random_range(0..8);
            }
            1 if !bytes.is_empty() => bytes[from.min(to.saturating_sub(1))] = self.rng.next_u32() as u8,
            2 => bytes.truncate(from),
            3 => drop(bytes.drain(from..to)),
            4 => {
                let copy = bytes[from..to].to_vec();
                let at = self.rng.random_range(0..=bytes.len());
                bytes.splice(at..at, copy);
            }
            5 => {
                let telling = TELLING[self.rng.random_range(0..TELLING.len())];
                let end = (from + telling.len() * self.rng.random_range(0..2)).min(bytes.len());
                bytes.splice(from..end, telling.iter().copied());
            }
            6 => {
                let other = &inputs[self.rng.random_range(0..inputs.len())];
                let (first, last) = self.range(other.len());
                bytes.splice(from..to, other[first..last].iter().copied());
            }
            _ => bytes[from..to].reverse(),
        }
    }

    /// A range that is mostly short.
    fn range(&mut self, length: usize) -> (usize, usize) {
        let from = self.rng.random_range(0..=length);
        let longest = if self.rng.random_range(0..4) == 0 { length } else { 16 };
        (from, (from + self.rng.random_range(0..=longest)).min(length))
    }
}
