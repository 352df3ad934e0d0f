//! Quantities as people write them: `580 in3`, `3 ft3/h`, `2 L/min`, `1475 F`, `3/16 in`, `19.5 %`, and how they are shown again.
//!
//! A number without a unit is refused with the units that it would take: a guess here is a wrong purge later. Reading
//! and showing are the edges of the crate; everything between them is a quantity.
//!
//! ```
//! use hearthward_process::units;
//! use uom::si::volume::liter;
//!
//! let chamber = units::volume("580 in3")?;
//! assert!((chamber.get::<liter>() - 9.504).abs() < 0.001);
//! assert!(units::volume("580").unwrap_err().to_string().contains("no unit"));
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod show;
mod table;

pub use show::{System, figures};
pub use show::{
    show_flow, show_length, show_length_both, show_mass, show_power, show_pressure, show_ratio, show_temperature,
    show_temperature_both, show_temperature_difference, show_time, show_volume,
};

use crate::error::{ProcessError, Result, within};
use crate::si;
use table::{Dimension, Reading, lookup};
use uom::si::area::square_meter;
use uom::si::f64::{
    Area, Frequency, Length, Mass, Power, Pressure, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Volume,
    VolumeRate,
};
use uom::si::frequency::hertz;

/// A rate of temperature: so much rise within so much time.
///
/// Negative while cooling. `units::ramp` reads `5 K/min`, `300 C/h` and `540 F/h`, where a Fahrenheit rise converts by 1.8 alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ramp {
    /// The rise.
    pub rise: TemperatureInterval,
    /// The time that it takes.
    pub within: Time,
}

impl Ramp {
    /// The rate as a bare number of kelvin a second, for formulae.
    pub fn kelvin_per_second(self) -> f64 {
        si::difference_k(self.rise) / self.within.value
    }
}

/// Reads a volume, such as `9.4 L`, `580 in3`, `60 m3` or `0.208 ft3`.
///
/// # Errors
/// A missing, unknown or wrong unit, a text that is no number, a negative or infinite value.
pub fn volume(text: &str) -> Result<Volume> {
    positive(text, Dimension::Volume).map(si::cubic_metres)
}

/// Reads a flow by volume, such as `2 L/min`, `3 ft3/h` or `0.5 m3/h`.
///
/// The text does not say what a litre of gas holds: give the result to [`crate::flow::Reference::amount_flow`] with the
/// reference conditions that it was metered at.
///
/// # Errors
/// As for [`volume()`].
pub fn flow(text: &str) -> Result<VolumeRate> {
    positive(text, Dimension::Flow).map(si::volume_rate)
}

/// Reads a length, such as `3 mm`, `3/16 in` or `1 1/2 in`.
///
/// # Errors
/// As for [`volume()`].
pub fn length(text: &str) -> Result<Length> {
    positive(text, Dimension::Length).map(si::metres)
}

/// Reads an area, such as `300 cm2` or `48 in2`.
///
/// # Errors
/// As for [`volume()`].
pub fn area(text: &str) -> Result<Area> {
    positive(text, Dimension::Area).map(Area::new::<square_meter>)
}

/// Reads a time, such as `20 min`, `90 s`, `2 h` or `1 h 20 min`.
///
/// # Errors
/// As for [`volume()`].
pub fn time(text: &str) -> Result<Time> {
    positive(text, Dimension::Time).map(si::seconds)
}

/// Reads a temperature, such as `800 C`, `1475 F` or `1073 K`.
///
/// # Errors
/// As for [`volume()`]; below absolute zero; above 3000 °C, where nothing in this trade happens.
pub fn temperature(text: &str) -> Result<ThermodynamicTemperature> {
    let Reading { value, .. } = lookup(text, Dimension::Temperature)?;
    within("a temperature", value - si::ICE_K, "°C", -si::ICE_K, 3000.0)?;
    Ok(si::from_kelvin(value))
}

/// Reads a difference of temperature, such as `5 K`, `10 C` or `18 F`: a Fahrenheit difference converts by 1.8 alone.
///
/// # Errors
/// A missing, unknown or wrong unit, a text that is no number, a size over 3000 K.
pub fn temperature_difference(text: &str) -> Result<TemperatureInterval> {
    let Reading { value, .. } = lookup(text, Dimension::TemperatureDifference)?;
    within("a temperature difference", value, "K", -3000.0, 3000.0).map(si::difference)
}

/// Reads a rate of temperature, such as `5 K/min`, `300 C/h` or `540 F/h`.
///
/// # Errors
/// A missing, unknown or wrong unit, a text that is no number, a rate over 1000 K/s.
pub fn ramp(text: &str) -> Result<Ramp> {
    let Reading { value, .. } = lookup(text, Dimension::Ramp)?;
    let rate_k_s = within("a rate of temperature", value, "K/s", -1000.0, 1000.0)?;
    Ok(Ramp { rise: si::difference(rate_k_s), within: si::seconds(1.0) })
}

/// Reads a power, such as `2.2 kW` or `500 W`.
///
/// # Errors
/// As for [`volume()`].
pub fn power(text: &str) -> Result<Power> {
    positive(text, Dimension::Power).map(si::watts)
}

/// Reads a pressure, such as `165 bar`, `2400 psi`, `5 bar g` or `101.325 kPa`.
///
/// Whether it counts from vacuum or from the room is the caller's to know; a trailing `g` is accepted and changes nothing.
///
/// # Errors
/// As for [`volume()`].
pub fn pressure(text: &str) -> Result<Pressure> {
    positive(text, Dimension::Pressure).map(si::pascals)
}

/// Reads a mass, such as `0.86 kg`, `350 g` or `2 lb`.
///
/// # Errors
/// As for [`volume()`].
pub fn mass(text: &str) -> Result<Mass> {
    positive(text, Dimension::Mass).map(si::kilograms)
}

/// Reads a share of a whole, such as `19.5 %`, `5 ppm` or `200 ppb`.
///
/// # Errors
/// As for [`volume()`]; over 100 %.
pub fn share(text: &str) -> Result<Ratio> {
    let value = positive(text, Dimension::Share)?;
    within("a share", value * 100.0, "%", 0.0, 100.0)?;
    Ok(si::fraction(value))
}

/// Reads a rate of air changes, such as `2 /h` or `0.5 per hour`.
///
/// # Errors
/// As for [`volume()`].
pub fn air_changes(text: &str) -> Result<Frequency> {
    positive(text, Dimension::PerTime).map(Frequency::new::<hertz>)
}

/// Reads a quantity that cannot be negative.
fn positive(text: &str, dimension: Dimension) -> Result<f64> {
    let Reading { value, unit, factor } = lookup(text, dimension)?;
    if value >= 0.0 && value.is_finite() {
        return Ok(value);
    }
    // A flow is put together from two units, whose spelling together is nobody's: it is shown in litres a minute.
    let (value, unit) =
        if dimension == Dimension::Flow && unit == "m3/s" { (value * 60_000.0, "L/min") } else { (value / factor, unit) };
    Err(ProcessError::Negative { what: dimension.with_article(), value, unit })
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::{length::millimeter, thermodynamic_temperature::degree_celsius, time::minute, volume_rate::liter_per_minute};

    fn near(left: f64, right: f64) {
        assert!((left - right).abs() <= 1e-9 * right.abs().max(1.0), "{left} is not {right}");
    }

    #[test]
    fn the_spellings_of_the_trade_are_read() {
        near(volume("580 in3").unwrap().value, 580.0 * 16.387_064e-6);
        near(volume("60 m³").unwrap().value, 60.0);
        near(flow("3 ft3/h").unwrap().get::<liter_per_minute>(), 1.415_842_329_6);
        near(flow("2 L/min").unwrap().get::<liter_per_minute>(), 2.0);
        near(temperature("1475 F").unwrap().get::<degree_celsius>(), 801.666_666_666_667);
        near(temperature("800°C").unwrap().get::<degree_celsius>(), 800.0);
        near(length("3/16 in").unwrap().get::<millimeter>(), 4.7625);
        near(length("1-1/2 in").unwrap().get::<millimeter>(), 38.1);
        near(length("3/16\"").unwrap().get::<millimeter>(), 4.7625);
        near(temperature("-1 1/2 C").unwrap().get::<degree_celsius>(), -1.5);
        near(length("1 1/2 in").unwrap().get::<millimeter>(), 38.1);
        near(time("1 h 20 min").unwrap().get::<minute>(), 80.0);
        near(power("2.2 kW").unwrap().value, 2200.0);
        near(pressure("5 bar g").unwrap().value, 5e5);
        near(air_changes("2 /h").unwrap().value * 3600.0, 2.0);
        near(share("19.5 %").unwrap().value, 0.195);
        near(share("5 ppm").unwrap().value, 5e-6);
        near(ramp("540 F/h").unwrap().kelvin_per_second() * 3600.0, 300.0);
        near(temperature_difference("18 F").unwrap().value, 10.0);
    }

    #[test]
    fn careless_spellings_are_read_and_a_comma_is_explained() {
        near(temperature("800 c").unwrap().get::<degree_celsius>(), 800.0);
        near(temperature("1475 f").unwrap().get::<degree_celsius>(), 801.666_666_666_667);
        near(time("2 hrs").unwrap().get::<minute>(), 120.0);
        near(time("20 mins").unwrap().get::<minute>(), 20.0);
        let said = volume("9,4 L").unwrap_err().to_string();
        assert_eq!(said, "`9,4 L` has a comma; write a point for decimals and nothing between thousands, such as 9.4 L");
    }

    #[test]
    fn a_bare_number_names_the_units_that_it_would_take() {
        let said = flow("3").unwrap_err().to_string();
        assert_eq!(said, "`3` has no unit; a flow takes one of: L/min, L/h, mL/min, m3/h, ft3/h, ft3/min, in3/min");
    }

    #[test]
    fn another_dimension_is_named() {
        let said = volume("2 L/min").unwrap_err().to_string();
        assert!(said.starts_with("`2 L/min` is a flow, but a volume is wanted here"), "{said}");
        assert!(matches!(volume("2 furlongs"), Err(ProcessError::UnknownUnit { .. })));
        assert!(matches!(volume("much"), Err(ProcessError::NotANumber { .. })));
    }

    #[test]
    fn impossible_values_name_their_range() {
        assert!(volume("-1 L").unwrap_err().to_string().contains("-1 L; it must be 0 or more"));
        assert!(flow("-1 L/min").unwrap_err().to_string().contains("-1 L/min; it must be 0 or more"));
        assert!(share("120 %").unwrap_err().to_string().contains("120 %"));
        assert!(temperature("-300 C").is_err());
        assert!(length("3/0 in").is_err());
    }
}
