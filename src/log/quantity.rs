//! Numbers as people write them, with or without a unit, and which of them are odd.

use crate::reading::Status;
use crate::terms::{Analyte, EventKind, Unit};

/// A typed value in the analyte's default unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Typed {
    /// How the number is to be taken.
    pub status: Status,
    /// The value; `None` above the range.
    pub value: Option<f64>,
    /// Lower bound, above the range or between two levels.
    pub low: Option<f64>,
    /// Upper bound, below detection or between two levels.
    pub high: Option<f64>,
    /// Whether the number was converted from another unit.
    pub converted: bool,
}

impl Typed {
    /// The value, where it is one plain number: neither a bound nor between two.
    pub fn plain(&self) -> Option<f64> {
        self.value.filter(|_| self.status == Status::Read && self.low.is_none())
    }
}

/// Reads a value such as `1.2`, `1.0N`, `5 dKH`, `<0.1` or `>100`, or `0.25..0.5` for a colour between two.
///
/// # Errors
/// Says what is wrong with it.
pub fn typed(text: &str, analyte: Analyte) -> Result<Typed, String> {
    let trimmed = text.trim();
    if let Some((low, high)) = trimmed.split_once("..") {
        return between(low, high, analyte);
    }
    let (sign, rest) = match trimmed.chars().next() {
        Some(sign @ ('<' | '>')) => (sign, &trimmed[1..]),
        _ => ('=', trimmed),
    };
    let (number, label) = split(rest)?;
    let (convert, converted) = converter(label, analyte)?;
    let value = convert(number);
    possible(analyte, value)?;
    let (status, value, low, high) = match sign {
        '<' => (Status::BelowDetection, Some(0.0), None, Some(value)),
        '>' => (Status::AboveRange, None, Some(value), None),
        _ => (Status::Read, Some(value), None, None),
    };
    if sign == '<' && !analyte.is_concentration() {
        return Err(format!("{analyte} has no detection limit: give a value"));
    }
    Ok(Typed { status, value, low, high, converted })
}

/// A value between two, of which the upper one has the unit; the middle is taken as the value.
fn between(low: &str, high: &str, analyte: Analyte) -> Result<Typed, String> {
    let number = number(low)?;
    let (second, label) = split(high.trim())?;
    let (convert, converted) = converter(label, analyte)?;
    let (low, high) = (convert(number), convert(second));
    possible(analyte, low)?;
    possible(analyte, high)?;
    if low >= high {
        return Err(format!("{number} is not below {second}: give the smaller value first"));
    }
    let value = Some(0.5 * (low + high));
    Ok(Typed { status: Status::Read, value, low: Some(low), high: Some(high), converted })
}

/// Reads an amount such as `2`, `30%`, `2N` for the kind of event.
///
/// # Errors
/// Says what is wrong with it.
pub fn amount(text: &str, kind: EventKind) -> Result<f64, String> {
    let (number, label) = split(text.trim())?;
    let analyte = match kind {
        EventKind::AmmoniaDose => Some(Analyte::Ammonia),
        EventKind::AlkalinityDose => Some(Analyte::Alkalinity),
        _ => None,
    };
    let value = match analyte {
        Some(analyte) => converter(label, analyte)?.0(number),
        None if label.is_empty() || is_unit_of(label, kind) => number,
        None => return Err(format!("{kind} is counted in {}, not in {label:?}", kind.unit())),
    };
    // Fish that died or were moved out are counted back.
    if value < 0.0 && kind != EventKind::FishAdded {
        return Err(format!("{value} is below zero: give what was added, changed or done"));
    }
    if kind == EventKind::FishAdded && value.fract() != 0.0 {
        return Err(format!(
            "{value} is no number of fish: count whole ones, and those that died or left as fish_added=-NUMBER"
        ));
    }
    if kind == EventKind::WaterChange && value > 100.0 {
        return Err(format!(
            "{value} % is more than all the water: give the share that was changed, 0 to 100"
        ));
    }
    Ok(value)
}

fn is_unit_of(label: &str, kind: EventKind) -> bool {
    let unit = kind.unit();
    label.eq_ignore_ascii_case(unit) || (label == "%" && unit.starts_with('%'))
}

/// Reads a bare number with a decimal point.
///
/// # Errors
/// If it is none, or not finite.
pub fn number(text: &str) -> Result<f64, String> {
    match split(text.trim())? {
        (number, "") => Ok(number),
        (_, rest) => Err(format!("{text:?} is no number: {rest:?} does not belong to it")),
    }
}

/// Splits a number from what follows it.
fn split(text: &str) -> Result<(f64, &str), String> {
    let digits = text.len()
        - text.trim_start_matches(['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', '.', '+', '-']).len();
    let mut end = digits;
    // An exponent counts only with its digits: "1.0e3", but not the e of a word.
    if let Some(exponent) = text[digits..].strip_prefix(['e', 'E']) {
        let unsigned = exponent.strip_prefix(['+', '-']).unwrap_or(exponent);
        let count = unsigned.len() - unsigned.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        if count > 0 {
            end = text.len() - unsigned.len() + count;
        }
    }
    let rest = text[end..].trim();
    if rest.starts_with(',') {
        return Err(format!("{text:?}: write the decimal point as a point"));
    }
    match text[..end].parse::<f64>() {
        Ok(number) if number.is_finite() => Ok((number, rest)),
        Ok(_) => Err(format!("{text:?} is too large a number")),
        Err(_) if text.get(1..end).is_some_and(|after| after.contains('-')) => {
            Err(format!("{text:?} is no number: write what lies between two as 0.25..0.5"))
        }
        Err(_) => Err(format!("{text:?} is no number")),
    }
}

/// What turns numbers of the unit `label` into the analyte's default unit, and whether it changes them.
pub(super) fn converter(label: &str, analyte: Analyte) -> Result<(impl Fn(f64) -> f64, bool), String> {
    let to = analyte.default_unit();
    let fahrenheit = analyte == Analyte::Temperature && matches!(label, "F" | "°F" | "degF");
    let from = if fahrenheit { to } else { unit(label, analyte)? };
    let convert = move |number: f64| {
        if fahrenheit { (number - 32.0) / 1.8 } else { from.convert(number, to, analyte).unwrap_or(number) }
    };
    Ok((convert, fahrenheit || from != to))
}

/// The unit meant by a label or its usual short form; nothing means the default.
fn unit(label: &str, analyte: Analyte) -> Result<Unit, String> {
    let default = analyte.default_unit();
    let is_nitrogen = matches!(analyte, Analyte::Ammonia | Analyte::Nitrite | Analyte::Nitrate);
    let known = match label.to_ascii_lowercase().as_str() {
        "" => Some(default),
        "ppm" | "mg/l" if is_nitrogen => Some(default),
        "n" | "ppm n" => Some(Unit::MgPerLitreN),
        "nh3" | "ppm nh3" => Some(Unit::MgPerLitreNh3),
        "nh4" | "ppm nh4" => Some(Unit::MgPerLitreNh4),
        "no2" | "ppm no2" => Some(Unit::MgPerLitreNo2),
        "no3" | "ppm no3" => Some(Unit::MgPerLitreNo3),
        "c" | "°c" => Some(Unit::DegreeCelsius),
        "meq" => Some(Unit::MeqPerLitre),
        "caco3" | "ppm caco3" => Some(Unit::MgPerLitreCaco3),
        _ => label.parse().ok(),
    };
    match known.filter(|unit| unit.measures(analyte)) {
        Some(unit) => Ok(unit),
        None => {
            let units: Vec<&str> =
                Unit::ALL.iter().filter(|unit| unit.measures(analyte)).map(|unit| unit.label()).collect();
            Err(format!("{analyte} is not measured in {label:?}: use {}", units.join(", ")))
        }
    }
}

/// Refuses what no water can have.
pub(super) fn possible(analyte: Analyte, value: f64) -> Result<(), String> {
    let (low, high) = match analyte {
        Analyte::Ph => (0.0, 14.0),
        Analyte::Temperature => (-5.0, 100.0),
        _ => (0.0, f64::MAX),
    };
    if (low..=high).contains(&value) {
        return Ok(());
    }
    Err(format!("{analyte} cannot be {value} {}", analyte.default_unit()))
}

/// What is odd about a value that is possible.
///
/// The limits are common practice, no source: beyond them a slip of the pen is likelier than such water
/// in an aquarium that anyone tests with colour kits.
pub fn doubt(analyte: Analyte, value: f64) -> Option<String> {
    let (low, high) = match analyte {
        Analyte::Ammonia => (0.0, 20.0),
        Analyte::Nitrite => (0.0, 30.0),
        Analyte::Nitrate => (0.0, 500.0),
        Analyte::Ph => (4.5, 9.5),
        Analyte::Temperature => (4.0, 38.0),
        Analyte::Alkalinity => (0.0, 12.0),
    };
    (!(low..=high).contains(&value)).then(|| {
        let unit = analyte.default_unit();
        // What is hot for water in degrees Celsius is usual in Fahrenheit.
        let fahrenheit = analyte == Analyte::Temperature && (50.0..=100.0).contains(&value);
        let hint = if fahrenheit { format!(", such as {value}F") } else { String::new() };
        format!("{analyte} of {value} {unit} is unusual: check the number and its unit{hint}")
    })
}

/// What is odd about an amount that is possible; limits as for [`doubt`].
pub fn doubt_amount(kind: EventKind, amount: f64) -> Option<String> {
    let high = match kind {
        EventKind::AmmoniaDose => 10.0,
        EventKind::Food => 100.0,
        EventKind::BottledBacteria => 1_000.0,
        EventKind::FishAdded => 200.0,
        EventKind::AlkalinityDose => 5.0,
        EventKind::MatureMedium | EventKind::WaterChange => 100.0,
        EventKind::FilterCleaned | EventKind::Medicine => 20.0,
    };
    (amount.abs() > high).then(|| format!("{kind} of {amount} {} is unusual: check the number", kind.unit()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn value(text: &str, analyte: Analyte) -> f64 {
        typed(text, analyte).unwrap().value.unwrap()
    }

    #[test]
    fn fish_are_counted_whole() {
        assert!(amount("1.5", EventKind::FishAdded).unwrap_err().contains("1.5 is no number of fish"));
        assert_eq!(amount("-2", EventKind::FishAdded), Ok(-2.0));
    }

    /// Factors from the IUPAC atomic weights; 1 dKH = 0.35665 meq/L by definition.
    #[test]
    fn units_are_converted() {
        assert_relative_eq!(value("1.0N", Analyte::Ammonia), 1.21589, epsilon = 1e-5);
        assert_relative_eq!(value("1.0 mg/L N", Analyte::Nitrate), 4.42664, epsilon = 1e-5);
        assert_relative_eq!(value("5dKH", Analyte::Alkalinity), 1.78325, epsilon = 1e-4);
        assert_relative_eq!(value("77F", Analyte::Temperature), 25.0, epsilon = 1e-12);
        assert_relative_eq!(value("2 ppm", Analyte::Nitrite), 2.0);
        assert!(!typed("2 ppm", Analyte::Nitrite).unwrap().converted);
        assert_relative_eq!(amount("2N", EventKind::AmmoniaDose).unwrap(), 2.43179, epsilon = 1e-5);
        assert_relative_eq!(amount("30%", EventKind::WaterChange).unwrap(), 30.0);
        assert_relative_eq!(amount("-2", EventKind::FishAdded).unwrap(), -2.0);
    }

    #[test]
    fn bounds_are_bounds() {
        let above = typed(">100", Analyte::Nitrate).unwrap();
        assert_eq!((above.status, above.value, above.low), (Status::AboveRange, None, Some(100.0)));
        let below = typed("<0.1", Analyte::Nitrite).unwrap();
        assert_eq!((below.status, below.value, below.high), (Status::BelowDetection, Some(0.0), Some(0.1)));
        assert!(typed("<7", Analyte::Ph).is_err());
    }

    #[test]
    fn a_colour_between_two_is_their_middle_and_both_are_bounds() {
        let between = typed("0.25..0.5", Analyte::Ammonia).unwrap();
        assert_eq!((between.low, between.value, between.high), (Some(0.25), Some(0.375), Some(0.5)));
        assert_eq!(between.status, Status::Read);
        assert_relative_eq!(typed("1..2N", Analyte::Nitrate).unwrap().low.unwrap(), 4.42664, epsilon = 1e-5);
        assert_eq!(typed("7.0 .. 7.4", Analyte::Ph).unwrap().value, Some(7.2));
        for text in ["0.5..0.25", "1..1", "..1", "1..", "1...2", "-1..2", "<1..2", "1..>2"] {
            assert!(typed(text, Analyte::Nitrite).is_err(), "{text}");
        }
    }

    #[test]
    fn what_cannot_be_is_refused_with_words() {
        for (text, analyte) in [
            ("-1", Analyte::Ammonia),
            ("15", Analyte::Ph),
            ("1e999", Analyte::Nitrate),
            ("NaN", Analyte::Nitrate),
            ("inf", Analyte::Nitrate),
            ("", Analyte::Nitrate),
            ("1,5", Analyte::Nitrate),
            ("2 NO2", Analyte::Ammonia),
            ("2 ppm", Analyte::Ph),
            ("1.2.3", Analyte::Nitrite),
        ] {
            assert!(typed(text, analyte).is_err(), "{text} {analyte}");
        }
        let of_a_range = typed("5-10", Analyte::Nitrate).unwrap_err();
        assert!(of_a_range.contains("0.25..0.5"), "{of_a_range}");
        assert!(amount("130", EventKind::WaterChange).is_err());
        assert!(amount("-1", EventKind::Food).is_err());
        assert!(amount("2 mL", EventKind::Food).is_err());
    }

    #[test]
    fn the_unusual_is_doubted_and_the_usual_is_not() {
        assert!(doubt(Analyte::Ammonia, 120.0).unwrap().contains("unusual"));
        assert!(doubt(Analyte::Temperature, 78.0).unwrap().ends_with("its unit, such as 78F"));
        assert!(doubt(Analyte::Temperature, 45.0).unwrap().ends_with("its unit"));
        assert_eq!(doubt(Analyte::Ammonia, 4.0), None);
        assert!(doubt_amount(EventKind::AmmoniaDose, 40.0).is_some());
        assert_eq!(doubt_amount(EventKind::AmmoniaDose, 2.0), None);
    }

    proptest! {
        #[test]
        fn a_number_prints_and_reads_as_itself(number in proptest::num::f64::NORMAL) {
            prop_assert_eq!(super::number(&number.to_string()), Ok(number));
            prop_assert_eq!(super::number(&format!("{number:e}")), Ok(number));
        }

        #[test]
        fn no_text_makes_the_reader_panic(text in "\\PC{0,20}|[0-9.eE+<>-]{0,12}") {
            let _ = typed(&text, Analyte::Ammonia);
            let _ = amount(&text, EventKind::Food);
        }
    }
}
