//! Two sides of a ratio, run by turns.

use std::time::{Duration, Instant};

/// Least times of both: others on the machine disturb these least.
pub fn by_turns(rounds: usize, mut sides: [&mut dyn FnMut(); 2]) -> [Duration; 2] {
    let mut least = [Duration::MAX; 2];
    for _ in 0..rounds {
        for (least, side) in least.iter_mut().zip(&mut sides) {
            let begun = Instant::now();
            side();
            *least = begun.elapsed().min(*least);
        }
    }
    least
}
