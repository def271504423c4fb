//! How many digits of a number are worth writing.

/// `value` with so many significant digits.
pub fn significant(value: f64, digits: i32) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    to_place(value, digits - 1 - value.abs().log10().floor() as i32)
}

/// Four significant digits: more than any colour test deserves, few enough to be read.
pub fn rounded(value: f64) -> f64 {
    significant(value, 4)
}

/// A number in words, with as many decimals as colour tests can bear and none that say nothing.
pub fn plain(value: f64) -> String {
    if value.abs() >= 1e6 {
        return format!("{value:e}");
    }
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A value and the ends of its interval, to the second digit of the interval's half width.
///
/// JCGM 100:2008, 7.2.6: an uncertainty deserves two digits at most, and a value those that its uncertainty has.
/// A value of up to three digits stays as it is: it may have been typed so.
pub fn with_interval(value: f64, low: f64, high: f64) -> [f64; 3] {
    let half = (high - low) / 2.0;
    if !(half.is_finite() && half > 0.0) {
        return [value, low, high].map(rounded);
    }
    let places = 1 - half.log10().floor() as i32;
    let short = if significant(value, 3) == value { value } else { to_place(value, places) };
    [short, to_place(low, places), to_place(high, places)]
}

/// A probability in per cent: never quite none and never quite certain.
pub fn percent(probability: f64) -> String {
    match 100.0 * probability {
        share if share < 1.0 => "under 1 %".to_owned(),
        share if share > 99.0 => "over 99 %".to_owned(),
        share => format!("{share:.0} %"),
    }
}

/// `value` with so many decimals, which may be less than none.
fn to_place(value: f64, places: i32) -> f64 {
    // Multiplying or dividing by a whole power of ten keeps short numbers short.
    let factor = 10_f64.powi(places.abs());
    let rounded =
        if places < 0 { (value / factor).round() * factor } else { (value * factor).round() / factor };
    if rounded.is_finite() { rounded } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_significant_digits() {
        assert_eq!(rounded(1.234_567), 1.235);
        assert_eq!(rounded(0.000_123_456), 0.000_123_5);
        assert_eq!(rounded(159.97), 160.0);
        assert_eq!(rounded(123_456.0), 123_500.0);
        assert_eq!(rounded(0.0), 0.0);
        assert_eq!(rounded(f64::MAX), f64::MAX);
        assert_eq!(significant(-0.001_239_9, 3), -0.001_24);
    }

    #[test]
    fn numbers_are_shown_without_needless_digits() {
        let shown: Vec<String> = [0.0, 1.2, 1.216, 1.2159, 100.0, -0.5, 3e300].map(plain).into();
        assert_eq!(shown, ["0", "1.2", "1.216", "1.216", "100", "-0.5", "3e300"]);
    }

    /// JCGM 100:2008, 7.2.6: 10.057 62 ohm with a combined uncertainty of 27 milliohm is to be rounded to 10.058 ohm.
    #[test]
    fn a_value_has_the_digits_that_its_uncertainty_has() {
        assert_eq!(with_interval(10.057_62, 10.057_62 - 0.027, 10.057_62 + 0.027), [10.058, 10.031, 10.085]);
        assert_eq!(with_interval(44.17, 33.025, 67.375), [44.0, 33.0, 67.0]);
        assert_eq!(with_interval(1234.0, 0.0, 4000.0), [1200.0, 0.0, 4000.0]);
    }

    #[test]
    fn a_short_value_stays_as_it_was_typed() {
        assert_eq!(with_interval(12.5, 0.0, 25.0)[0], 12.5);
        assert_eq!(with_interval(0.25, 0.25, 0.25), [0.25; 3]);
    }

    #[test]
    fn no_probability_is_called_certain() {
        assert_eq!(
            [0.0, 0.004, 0.014, 0.5, 0.99, 1.0].map(percent),
            ["under 1 %", "under 1 %", "1 %", "50 %", "99 %", "over 99 %"]
        );
    }
}
