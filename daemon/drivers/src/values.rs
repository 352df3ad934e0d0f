//! From a driver's bare numbers to values with a dimension, checked and rounded on the way in; and back for writes.
//!
//! Rounding is to whole steps of the base unit, so that the journal keeps a whole number and gives back the same bits.

use std::fmt;
use std::time::Duration;

use hearthward_equipment::quantity::{
    GasFlow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, Temperature, gas_flow, in_celsius, in_litres_per_minute,
};
use hearthward_equipment::steps::{
    STEPS_PER_KELVIN, STEPS_PER_MOLE_A_SECOND, STEPS_PER_NUMBER, STEPS_PER_PASCAL, STEPS_PER_SHARE,
};
use hearthward_equipment::{Quality, Value};
use uom::si::catalytic_activity::mole_per_second;
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::{kilopascal, pascal};
use uom::si::ratio::ratio;
use uom::si::thermodynamic_temperature::{degree_celsius, kelvin};

use crate::plan::Setting;

/// No furnace or flame in a shop is hotter; a higher reading is a broken sensor's or a wrong scale's.
const TEMPERATURE_C_MOST: f64 = 3000.0;

/// Gas cylinders hold 300 bar at most; ten times that is nonsense.
const PRESSURE_KPA_MOST: f64 = 300_000.0;

/// A gauge shows less than the air around it by one atmosphere at most.
const PRESSURE_KPA_LEAST: f64 = -102.0;

/// No shop meter passes more.
const FLOW_L_MIN_MOST: f64 = 100_000.0;

/// A meter or probe near zero wavers about it; so much below is read as zero, more is bad.
const BELOW_ZERO_SHARE: f64 = 0.02;
const BELOW_ZERO_L_MIN: f64 = 0.5;

/// A tank may be overfull and a controller may show a little over full power; twice the whole is nonsense.
const SHARE_MOST: f64 = 2.0;

/// Above this a number has no whole millionths in 64 bits.
const NUMBER_MOST: f64 = 1e9;

/// The longest text kept, in bytes, as the contract says.
pub(crate) const TEXT_LONGEST: usize = 1024;

/// What a number means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Quantity {
    TemperatureC,
    Share,
    VolumeFraction,
    PressureKpa,
    FlowStandardLMin,
    Other,
}

impl Quantity {
    /// By the contract's word; a word that is not known here leaves a number without dimension.
    pub(crate) fn of(word: &str) -> Self {
        match word {
            "temperature_c" => Self::TemperatureC,
            "share" => Self::Share,
            "volume_fraction" => Self::VolumeFraction,
            "pressure_kpa" => Self::PressureKpa,
            "flow_standard_l_min" => Self::FlowStandardLMin,
            _ => Self::Other,
        }
    }
}

/// A value of a point as the driver gives it, with its quality after the checks.
pub(crate) fn value(quantity: Quantity, given: Setting, quality: Quality) -> (Option<Value>, Quality) {
    match given {
        Setting::Flag(is) => (Some(Value::Flag(is)), quality),
        Setting::Text(words) => (Some(Value::Text(shorten(words, TEXT_LONGEST))), quality),
        Setting::Whole(is) if quantity == Quantity::Other => (Some(Value::Whole(is)), quality),
        // Exact up to 2^53, beyond all that the checks let through.
        Setting::Whole(is) => number(quantity, is as f64, quality),
        Setting::Number(is) => number(quantity, is, quality),
    }
}

/// A measure with its quality after the checks: what is not finite or not possible is bad and has no value.
pub(crate) fn number(quantity: Quantity, given: f64, quality: Quality) -> (Option<Value>, Quality) {
    let value = match quantity {
        Quantity::TemperatureC => temperature(given),
        Quantity::Share => share(given, SHARE_MOST),
        Quantity::VolumeFraction => share(given, 1.0 + BELOW_ZERO_SHARE),
        Quantity::PressureKpa => pressure(given),
        Quantity::FlowStandardLMin => flow(given, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA),
        Quantity::Other => plain(given),
    };
    match value {
        Some(value) => (Some(value), quality),
        None => (None, Quality::Bad),
    }
}

/// A flow at its own reference conditions.
pub(crate) fn flow(l_min: f64, reference_c: f64, reference_kpa: f64) -> Option<Value> {
    let sane = (-100.0..=200.0).contains(&reference_c) && (1.0..=1000.0).contains(&reference_kpa);
    if !sane || !(-BELOW_ZERO_L_MIN..=FLOW_L_MIN_MOST).contains(&l_min) {
        return None;
    }
    let amount = gas_flow(l_min.max(0.0), reference_c, reference_kpa).get::<mole_per_second>();
    Some(Value::GasFlow(GasFlow::new::<mole_per_second>(rounded(amount, STEPS_PER_MOLE_A_SECOND))))
}

/// What a driver is given for a value that is to be written or entered: numbers in the units of the contract's words, flows at
/// the reference conditions that the service shows.
pub(crate) fn to_setting(value: &Value) -> Setting {
    match value {
        Value::Flag(is) => Setting::Flag(*is),
        Value::Temperature(is) => Setting::Number(tidy(in_celsius(*is))),
        Value::Share(is) => Setting::Number(is.get::<ratio>()),
        Value::GasFlow(is) => Setting::Number(tidy(in_litres_per_minute(*is, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))),
        Value::Pressure(is) => Setting::Number(is.get::<kilopascal>()),
        Value::Whole(is) => Setting::Whole(*is),
        Value::Number(is) => Setting::Number(*is),
        Value::Text(words) => Setting::Text(words.clone()),
    }
}

/// A text cut at a character boundary to at most so many bytes.
pub(crate) fn shorten(mut text: String, bytes_most: usize) -> String {
    if text.len() > bytes_most {
        text.truncate(text.floor_char_boundary(bytes_most));
    }
    text
}

/// Takes off what a change of scale added in the last digits: 850 °C is not to be written as 849.9999999999999.
pub(crate) fn tidy(value: f64) -> f64 {
    rounded(value, STEPS_PER_NUMBER)
}

fn temperature(given_c: f64) -> Option<Value> {
    if !(-273.15..=TEMPERATURE_C_MOST).contains(&given_c) {
        return None;
    }
    let base = Temperature::new::<degree_celsius>(given_c).get::<kelvin>();
    Some(Value::Temperature(Temperature::new::<kelvin>(rounded(base, STEPS_PER_KELVIN))))
}

fn share(given: f64, most: f64) -> Option<Value> {
    let given = (-BELOW_ZERO_SHARE..=most).contains(&given).then_some(given)?;
    Some(Value::Share(Ratio::new::<ratio>(rounded(given.max(0.0), STEPS_PER_SHARE))))
}

fn pressure(given_kpa: f64) -> Option<Value> {
    let given = (PRESSURE_KPA_LEAST..=PRESSURE_KPA_MOST).contains(&given_kpa).then_some(given_kpa)?;
    let base = Pressure::new::<kilopascal>(given).get::<pascal>();
    Some(Value::Pressure(Pressure::new::<pascal>(rounded(base, STEPS_PER_PASCAL))))
}

fn plain(given: f64) -> Option<Value> {
    (given.abs() <= NUMBER_MOST).then(|| Value::Number(rounded(given, STEPS_PER_NUMBER)))
}

fn rounded(value: f64, steps: f64) -> f64 {
    // Adding zero turns the negative zero, which other programs would show as "-0", into the positive one.
    (value * steps).round() / steps + 0.0
}

/// Bytes for the log, as manuals of devices write them, at most [`HEX_MOST`] of them.
pub(crate) struct Hex<'a>(pub(crate) &'a [u8]);

/// A Modbus frame of thirty registers; a longer one is told apart by its head.
const HEX_MOST: usize = 64;

impl fmt::Display for Hex<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, byte) in self.0.iter().take(HEX_MOST).enumerate() {
            let space = if place == 0 { "" } else { " " };
            write!(f, "{space}{byte:02x}")?;
        }
        if self.0.len() > HEX_MOST { write!(f, " and {} bytes more", self.0.len() - HEX_MOST) } else { Ok(()) }
    }
}

/// A span for the log, in milliseconds.
pub(crate) fn in_ms(span: Duration) -> String {
    format!("{:.3}", span.as_secs_f64() * 1e3)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: what cannot be is bad and carries no value, whatever the driver says of it.
    #[test]
    fn impossible_numbers_are_bad() {
        let cases = [
            (Quantity::TemperatureC, f64::NAN),
            (Quantity::TemperatureC, -300.0),
            (Quantity::TemperatureC, 9000.0),
            (Quantity::VolumeFraction, 1.2),
            (Quantity::Share, -0.5),
            (Quantity::PressureKpa, f64::INFINITY),
            (Quantity::FlowStandardLMin, -3.0),
            (Quantity::Other, 1e300),
        ];
        for (quantity, given) in cases {
            assert_eq!(number(quantity, given, Quality::Good), (None, Quality::Bad), "{quantity:?} {given}");
        }
    }

    /// Goal: a value that went through a whole number of steps comes back with the same bits.
    #[test]
    fn rounded_values_are_whole_steps() {
        for tenth in 0..12_000 {
            let given = f64::from(tenth) / 10.0;
            let (Some(Value::Temperature(read)), Quality::Good) = number(Quantity::TemperatureC, given, Quality::Good) else {
                panic!("{given} °C is possible");
            };
            let base = read.get::<kelvin>();
            let step = (base * STEPS_PER_KELVIN).round();
            assert_eq!(Temperature::new::<kelvin>(step / STEPS_PER_KELVIN).get::<kelvin>().to_bits(), base.to_bits());
            assert!((in_celsius(read) - given).abs() < 0.0051);
        }
    }

    /// Goal: a meter that wavers about zero reads zero, not bad.
    #[test]
    fn a_little_below_zero_is_zero() {
        let (Some(Value::GasFlow(flow)), Quality::Good) = number(Quantity::FlowStandardLMin, -0.02, Quality::Good) else {
            panic!("a wavering meter is good");
        };
        assert!(flow.get::<mole_per_second>() >= 0.0);
        assert_eq!(number(Quantity::Share, -0.001, Quality::Good).0, Some(Value::Share(Ratio::new::<ratio>(0.0))));
    }

    /// Goal: what is written is what people mean, without the dust of a change of scale.
    #[test]
    fn written_values_are_tidy() {
        let set_point = Temperature::new::<degree_celsius>(850.0);
        assert_eq!(to_setting(&Value::Temperature(set_point)), Setting::Number(850.0));
        let flow = gas_flow(8.0, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA);
        assert_eq!(to_setting(&Value::GasFlow(flow)), Setting::Number(8.0));
    }

    /// Goal: long texts are cut between characters.
    #[test]
    fn texts_are_cut_between_characters() {
        assert_eq!(shorten("äöü".to_owned(), 3), "ä");
    }

    /// Goal: bytes are shown as manuals show them, and a long frame does not fill the log.
    #[test]
    fn bytes_are_shown_in_hexadecimal() {
        assert_eq!(Hex(&[]).to_string(), "");
        assert_eq!(Hex(&[0x01, 0x03, 0xff]).to_string(), "01 03 ff");
        assert_eq!(Hex(&[0; HEX_MOST]).to_string(), ["00"; HEX_MOST].join(" "));
        assert!(Hex(&[0; 260]).to_string().ends_with("00 00 and 196 bytes more"));
        assert_eq!(in_ms(Duration::from_micros(1_250)), "1.250");
    }
}
