//! Deviates that are drawn by the million.

use rand::Rng;

/// A deviate of mean 0 and variance 1 from four uniform ones: near enough to normal for a step of a random
/// walk, and a quarter of the work. Never beyond 3.47.
#[inline(always)]
pub fn near_normal(rng: &mut impl Rng) -> f64 {
    let bits = rng.next_u64();
    let sum = (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
    (sum as f64 / 65_535.0 - 2.0) * 3f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_pcg::Pcg64Mcg;

    /// Moments of the sum of four uniform deviates, scaled: 0, 1, 0 and 3 - 6/5/4 = 2.7 (Irwin and Hall, 1927).
    #[test]
    fn its_first_four_moments_are_those_of_irwin_and_hall() {
        let mut rng = Pcg64Mcg::seed_from_u64(8);
        let drawn: Vec<f64> = (0..200_000).map(|_| near_normal(&mut rng)).collect();
        let moment = |power: i32| drawn.iter().map(|x| x.powi(power)).sum::<f64>() / drawn.len() as f64;
        for (power, expected) in [(1, 0.0), (2, 1.0), (3, 0.0), (4, 2.7)] {
            assert!((moment(power) - expected).abs() < 0.03, "{power}: {}", moment(power));
        }
        assert!(drawn.iter().all(|x| x.abs() < 3.47));
    }
}
