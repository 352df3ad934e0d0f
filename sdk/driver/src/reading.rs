//! Small constructors for what a driver hands over.

use crate::{Description, Flag, GasFlow, Named, Number, Point, Quality, Unit, Value};

/// A description without notes.
#[must_use]
pub fn description(name: &str, version: &str) -> Description {
    Description { name: name.to_owned(), version: version.to_owned(), notes: Vec::new() }
}

/// A unit without wire costs and standing cuts, with the note `face`.
#[must_use]
pub fn unit(name: &str, face: &str, readings: &[&str]) -> Unit {
    Unit {
        name: name.to_owned(),
        readings: readings.iter().map(|&reading| reading.to_owned()).collect(),
        costs: Vec::new(),
        cuts: Vec::new(),
        notes: vec![note("face", face)],
    }
}

/// A note in words.
#[must_use]
pub fn note(name: &str, text: &str) -> Named {
    Named { name: name.to_owned(), value: Value::Text(text.to_owned()) }
}

/// The note that says what a point's value measures.
#[must_use]
pub fn quantity_note(point: &str, quantity: &str) -> Named {
    note(&format!("quantity.{point}"), quantity)
}

/// The note that says the highest value that a field or point can show and be told.
#[must_use]
pub fn most_note(name: &str, most: f64) -> Named {
    Named { name: format!("most.{name}"), value: Value::Number(most) }
}

/// A number as people read it: one of hundreds of digits with its power of ten.
#[must_use]
pub fn shown(number: f64) -> String {
    let plain = number == 0.0 || (1e-6..1e15).contains(&number.abs());
    if plain { number.to_string() } else { format!("{number:e}") }
}

/// A measure: good when it is a number at all.
#[must_use]
pub fn number(value: f64) -> Number {
    number_of(value, Quality::Good)
}

/// A measure of this quality; what is not finite is bad whatever is said of it, and shown as 0.
#[must_use]
pub fn number_of(value: f64, quality: Quality) -> Number {
    if value.is_finite() { Number { value, quality } } else { bad_number() }
}

/// A measure that the unit has but could not tell.
#[must_use]
pub fn bad_number() -> Number {
    Number { value: 0.0, quality: Quality::Bad }
}

/// A switch.
#[must_use]
pub fn flag(value: bool) -> Flag {
    Flag { value, quality: Quality::Good }
}

/// A flow in litres a minute at these reference conditions (degrees Celsius, kilopascals absolute).
#[must_use]
pub fn flow(standard_litres_per_minute: f64, reference_temperature_c: f64, reference_pressure_kpa: f64) -> GasFlow {
    GasFlow { standard_litres_per_minute: number(standard_litres_per_minute), reference_temperature_c, reference_pressure_kpa }
}

/// A point; a number that is not finite makes it bad.
#[must_use]
pub fn point(name: &str, quantity: &str, value: Value, quality: Quality) -> Point {
    let (value, quality) = match value {
        Value::Number(number) if !number.is_finite() => (Value::Number(0.0), Quality::Bad),
        value => (value, quality),
    };
    Point { name: name.to_owned(), quantity: quantity.to_owned(), value, quality }
}

/// The value as a number, if it is one; a flag is not.
#[must_use]
pub fn as_number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => Some(*number),
        // Exact up to 2^53, beyond what any device counts to.
        Value::Whole(whole) => Some(*whole as f64),
        Value::Flag(_) | Value::Text(_) => None,
    }
}

/// The value as a whole number, if it is one or loses nothing by becoming one.
#[must_use]
pub fn as_whole(value: &Value) -> Option<i64> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    match value {
        Value::Whole(whole) => Some(*whole),
        Value::Number(number) if number.fract() == 0.0 && number.abs() <= EXACT => Some(*number as i64),
        Value::Number(_) | Value::Flag(_) | Value::Text(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: nothing that is not a number leaves a driver as a good one.
    #[test]
    fn what_is_not_a_number_is_bad() {
        assert_eq!(number(f64::NAN), bad_number());
        assert_eq!(number_of(f64::INFINITY, Quality::Uncertain).quality, Quality::Bad);
        let shown = point("probe", "volume_fraction", Value::Number(f64::NAN), Quality::Good);
        assert_eq!((shown.value, shown.quality), (Value::Number(0.0), Quality::Bad));
    }

    /// Goal: numbers and whole numbers stand for each other only where nothing is lost.
    #[test]
    fn kinds_stand_for_each_other_without_loss() {
        assert_eq!(as_whole(&Value::Number(3.0)), Some(3));
        assert_eq!(as_whole(&Value::Number(3.5)), None);
        assert_eq!(as_whole(&Value::Number(1e300)), None);
        assert_eq!(as_number(&Value::Whole(-7)), Some(-7.0));
        assert_eq!(as_number(&Value::Flag(true)), None);
    }
}
