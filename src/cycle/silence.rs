//! A log that has been silent for long: what it tells is of then, and not of today.

use super::series::Series;

/// Days without any entry from which on nobody can tell what is in the water (judgement, no source).
const SILENT_DAYS: f64 = 30.0;

/// The day of the last entry, if nothing has been logged for long.
pub fn silent_since(series: &Series) -> Option<f64> {
    let tests = series.samples.iter().map(|sample| sample.day);
    let last = tests.chain(series.deeds.iter().map(|deed| deed.day)).reduce(f64::max)?;
    (series.now - last > SILENT_DAYS).then_some(last)
}
