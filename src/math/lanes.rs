//! What many numbers come to together, four lanes at a time: sums, extremes.

/// Numbers that are taken side by side: as many as a processor's registers hold.
const LANES: usize = 4;

/// Folds every fourth number of its own, then the four results and what is left over. `start` must leave any
/// number as it is.
pub fn fold(numbers: &[f64], start: f64, join: impl Fn(f64, f64) -> f64) -> f64 {
    let (fours, rest) = numbers.as_chunks::<LANES>();
    let lanes =
        fours.iter().fold([start; LANES], |lanes, four| std::array::from_fn(|k| join(lanes[k], four[k])));
    lanes.iter().chain(rest).copied().fold(start, join)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_counts_once_however_many_there_are() {
        for count in 0..19_u8 {
            let numbers: Vec<f64> = (1..=count).map(f64::from).collect();
            let last = f64::from(count);
            assert_eq!(fold(&numbers, 0.0, |a, b| a + b), last * (last + 1.0) / 2.0);
            assert_eq!(fold(&numbers, 0.0, f64::max), last);
        }
        assert_eq!(fold(&[], f64::INFINITY, f64::min), f64::INFINITY);
    }
}
