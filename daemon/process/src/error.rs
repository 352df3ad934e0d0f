//! The one error of this crate: a question that cannot be answered, with the value that is at fault and what would be allowed.
//!
//! A refusal by the physics (a purge that never gets there, a section too heavy for its oil) is a value in the answer,
//! never an error: only a question that makes no sense ends here.

use crate::units::figures;

/// Why a question to this crate has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProcessError {
    /// A value lies outside the range that the function takes; ask again with a value inside it.
    #[error("{what} is {}; it must lie between {} and {}", with(*.value, .unit), figures(*.low, 6), with(*.high, .unit))]
    OutOfRange {
        /// What the value is, in words.
        what: &'static str,
        /// The value at fault, in `unit`.
        value: f64,
        /// The unit of `value`, `low` and `high`, as people write it.
        unit: &'static str,
        /// The least value allowed.
        low: f64,
        /// The greatest value allowed.
        high: f64,
    },
    /// A value below zero, of a quantity that has none; ask again with its size.
    #[error("{what} is {}; it must be 0 or more", with(*.value, .unit))]
    Negative {
        /// What the value is, in words.
        what: &'static str,
        /// The value at fault, in `unit`.
        value: f64,
        /// The unit of `value`, as people write it.
        unit: &'static str,
    },
    /// Values that are each possible cannot be so together; change one of them.
    #[error("{what}: {why}")]
    Impossible {
        /// What was asked, in words.
        what: &'static str,
        /// Which values contradict each other, with the values.
        why: String,
    },
    /// A text holds no readable number; write a number and a unit.
    #[error("`{text}` does not begin with a number; write {wanted} as a number and a unit, such as {example}")]
    NotANumber {
        /// The text as given.
        text: String,
        /// What is wanted, with its article.
        wanted: &'static str,
        /// One spelling that would do.
        example: &'static str,
    },
    /// A comma, which one country reads as a point and another leaves out.
    #[error("`{text}` has a comma; write a point for decimals and nothing between thousands, such as {example}")]
    Comma {
        /// The text as given.
        text: String,
        /// One spelling that would do.
        example: &'static str,
    },
    /// A bare number: its unit is never guessed.
    #[error("`{text}` has no unit; {wanted} takes one of: {units}")]
    MissingUnit {
        /// The text as given.
        text: String,
        /// What is wanted, with its article.
        wanted: &'static str,
        /// The units that it would take.
        units: String,
    },
    /// The unit is not one that this crate reads.
    #[error("`{unit}` in `{text}` is not a unit that is known here; {wanted} takes one of: {units}")]
    UnknownUnit {
        /// The text as given.
        text: String,
        /// The part of it that was read as the unit.
        unit: String,
        /// What is wanted, with its article.
        wanted: &'static str,
        /// The units that it would take.
        units: String,
    },
    /// The unit is known, and belongs to something else.
    #[error("`{text}` is {found}, but {wanted} is wanted here; it takes one of: {units}")]
    WrongDimension {
        /// The text as given.
        text: String,
        /// What the text is, with its article.
        found: &'static str,
        /// What is wanted, with its article.
        wanted: &'static str,
        /// The units that it would take.
        units: String,
    },
    /// The gas is not one that this crate has properties for.
    #[error("`{name}` is not a gas that is known here; known are: {known}")]
    UnknownGas {
        /// The name as given.
        name: String,
        /// The names that would do.
        known: String,
    },
    /// The gas burns or explodes; nothing in this crate is for it.
    #[error("`{name}` is flammable: it is refused outright, in any share; argon, nitrogen and helium are permitted")]
    FlammableGas {
        /// The name as given.
        name: String,
    },
    /// The gas cannot be used to protect steel.
    #[error("{name} does not protect steel: {why}; argon, nitrogen and helium do")]
    NotProtective {
        /// The gas.
        name: String,
        /// What it does to hot steel.
        why: &'static str,
    },
    /// The steel is not in the table.
    #[error("`{name}` is not a steel of the table; it has: {known}")]
    UnknownSteel {
        /// The name as given.
        name: String,
        /// The grades of the table.
        known: String,
    },
}

/// What every fallible function of this crate returns.
pub type Result<T> = core::result::Result<T, ProcessError>;

/// Passes a finite value inside the closed range, and names value and range otherwise.
///
/// A bound other than zero gives way by a rounding error: 1000 °C is not outside 1000 °C for having been kelvin between.
pub(crate) fn within(what: &'static str, value: f64, unit: &'static str, low: f64, high: f64) -> Result<f64> {
    // Written so that NaN, which compares false with everything, is refused too.
    if value >= low - ROUNDING * low.abs() && value <= high + ROUNDING * high.abs() {
        Ok(value)
    } else {
        Err(ProcessError::OutOfRange { what, value, unit, low, high })
    }
}

/// A number with its unit, which may be none.
fn with(value: f64, unit: &str) -> String {
    if unit.is_empty() { figures(value, 6) } else { format!("{} {unit}", figures(value, 6)) }
}

/// Some thousand units in the last place.
const ROUNDING: f64 = 1e-12;

/// Builds the error for values that contradict each other.
pub(crate) fn impossible(what: &'static str, why: String) -> ProcessError {
    ProcessError::Impossible { what, why }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_names_the_value_and_the_range() {
        let error = within("the purity of the gas", 1.2, "fraction", 0.0, 1.0).unwrap_err();
        assert_eq!(error.to_string(), "the purity of the gas is 1.2 fraction; it must lie between 0 and 1 fraction");
    }

    #[test]
    fn not_a_number_is_out_of_every_range() {
        assert!(within("a flow", f64::NAN, "L/min", 0.0, 1.0).is_err());
    }
}
