//! Numbers of files from elsewhere, held to what is possible.

use std::fmt;
use std::ops::RangeInclusive;

/// Refuses a number that is none or lies outside the range, and says where it stands.
///
/// # Errors
/// The place, the number, and between what `what` lies.
pub fn within(
    place: fmt::Arguments,
    value: f64,
    range: RangeInclusive<f64>,
    what: &str,
) -> Result<(), String> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(format!("{place} is {value}, but {what} lies between {} and {}", range.start(), range.end()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_outside_is_told_with_its_place_and_what_is_possible() {
        let share = |value| within(format_args!("pots[{}].lid", 2), value, 0.0..=1.0, "a share");
        assert_eq!((share(0.0), share(1.0)), (Ok(()), Ok(())));
        assert_eq!(share(1.5).unwrap_err(), "pots[2].lid is 1.5, but a share lies between 0 and 1");
        assert!([f64::NAN, f64::INFINITY, -0.1].iter().all(|&value| share(value).is_err()));
    }
}
