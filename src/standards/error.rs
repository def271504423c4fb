//! Why a series cannot be mixed.

use crate::terms::{Analyte, Unit};

/// What is wrong with a request for standards, and how to mend it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StandardsError {
    /// A number outside its range.
    #[error("{what} is {value}, but must be {range}")]
    OutOfRange {
        /// What was given.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        range: &'static str,
    },
    /// No levels.
    #[error("no levels were given: name them with --levels, such as 0,0.5,1,2")]
    NoLevels,
    /// A level below zero, or no number.
    #[error("a level of {0} is impossible: levels are zero or more, and finite")]
    NegativeLevel(f64),
    /// A unit of something else.
    #[error("{analyte} is not measured in {unit}")]
    Unit {
        /// What was asked for.
        analyte: Analyte,
        /// The unit.
        unit: Unit,
    },
    /// No salt is known.
    #[error("no standards can be weighed for {0}: use ammonia, nitrite, nitrate, alkalinity or ph")]
    NoSalt(Analyte),
    /// A salt of something else.
    #[error("{salt} is no standard of {analyte}: use {known}")]
    WrongSalt {
        /// The salt.
        salt: &'static str,
        /// What was asked for.
        analyte: Analyte,
        /// The salts of that analyte.
        known: String,
    },
    /// Too little to weigh.
    #[error(
        "the stock needs {needed:.4} g, but a scale with steps of {step} g weighs {least} g at least: make a larger or stronger stock (--stock-volume, --stock)"
    )]
    TooLittleMass {
        /// Mass that is needed, g.
        needed: f64,
        /// Step of the scale, g.
        step: f64,
        /// Least mass, g.
        least: f64,
    },
    /// A stock so strong that it would not dissolve, or not act as a dilute solution.
    #[error("a stock of {grams_per_litre:.0} g/L is too strong: at most {most} g/L; give a lower --stock")]
    TooStrong {
        /// Salt in the stock, g/L.
        grams_per_litre: f64,
        /// Most, g/L.
        most: f64,
    },
    /// A level that is above the stock, or needs more of it than the flask holds.
    #[error(
        "level {level} needs {needed:.1} mL of stock in a flask of {flask} mL: give a stronger stock (--stock above {stock})"
    )]
    FlaskTooSmall {
        /// The level.
        level: f64,
        /// Volume of stock, mL.
        needed: f64,
        /// The flask, mL.
        flask: f64,
        /// Concentration of the stock, in the unit of the level.
        stock: f64,
    },
    /// A volume that no syringe measures.
    #[error(
        "level {level} needs {needed:.3} mL, which none of the syringes measures (at least {least} mL): make more of each level (--volume), or name another syringe (--syringe CAPACITY:GRADUATION)"
    )]
    Unmeasurable {
        /// The level.
        level: f64,
        /// Volume that is needed, mL.
        needed: f64,
        /// Least volume of any syringe, mL.
        least: f64,
    },
    /// Less stock than the levels take.
    #[error(
        "the levels take {needed:.0} mL of stock, and only {volume} mL are made: give a larger --stock-volume or a stronger --stock"
    )]
    NotEnoughStock {
        /// Volume that is needed, mL.
        needed: f64,
        /// Volume of the stock, mL.
        volume: f64,
    },
    /// A pH out of the buffer's reach.
    #[error("a phosphate buffer holds pH {low} to {high}, not {ph}: leave that level out")]
    BufferRange {
        /// What was asked for.
        ph: f64,
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
    },
    /// A standard addition that cannot be evaluated.
    #[error("{0}")]
    Addition(String),
}

/// Refuses a number that is not above `low` and at most `high`; `range` says so in words.
pub(super) fn in_range(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    range: &'static str,
) -> Result<(), StandardsError> {
    let is_inside = value.is_finite() && value > low && value <= high;
    if is_inside { Ok(()) } else { Err(StandardsError::OutOfRange { what, value, range }) }
}
