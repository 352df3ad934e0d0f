//! Quantities as people write them, with the ranges that make sense in a shop. The reading itself is `hearthward-process`'s.

use std::time::Duration;

use hearthward_equipment::quantity::{
    GasFlow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, Temperature, TemperatureStep, gas_flow as flow_at, in_celsius,
};
use hearthward_process::gas::{Gas, Mixture};
use hearthward_process::{ProcessError, units};
use hearthward_proto::v1::value::Kind;
use uom::si::f64::{Frequency, Length, Mass, Power, Pressure, Ratio, Volume};
use uom::si::pressure::{bar, kilopascal, pascal};
use uom::si::ratio::ratio;
use uom::si::volume_rate::liter_per_minute;

fn within<T>(value: T, shown: f64, least: f64, most: f64, unit: &str) -> Result<T, String> {
    // Written so that a number that is none falls out too.
    if (least..=most).contains(&shown) {
        return Ok(value);
    }
    // Hundreds of digits are nothing that anybody reads.
    let is = if shown.abs() < 1e9 { format!("{shown:.0}") } else { format!("{shown:.3e}") };
    Err(format!("is {is} {unit}, but it must lie between {least:.0} and {most:.0} {unit}"))
}

/// A temperature that a furnace can have, up to 1300 °C.
pub(crate) fn furnace_temperature(text: &str) -> Result<Temperature, String> {
    let read = units::temperature(text).map_err(|error| error.to_string())?;
    within(read, in_celsius(read), 0.0, 1300.0, "°C")
}

/// What a furnace is built for, or limited to: warm enough to temper or to dry something in it, up to 1300 °C.
pub(super) fn furnace_limit(text: &str) -> Result<Temperature, String> {
    let read = units::temperature(text).map_err(|error| error.to_string())?;
    within(read, in_celsius(read), 50.0, 1300.0, "°C")
}

/// A temperature that tool steel is treated at: from room temperature to below its melting range.
pub(crate) fn steel_temperature(text: &str) -> Result<Temperature, String> {
    let read = units::temperature(text).map_err(|error| error.to_string())?;
    within(read, in_celsius(read), 10.0, 1250.0, "°C")
}

/// A temperature that a bath can have.
pub(crate) fn bath_temperature(text: &str) -> Result<Temperature, String> {
    let read = units::temperature(text).map_err(|error| error.to_string())?;
    within(read, in_celsius(read), 0.0, 400.0, "°C")
}

/// A difference of temperatures, from above nothing to 200 K.
pub(super) fn step(text: &str) -> Result<TemperatureStep, String> {
    let read = units::temperature_difference(text).map_err(|error| error.to_string())?;
    within(read, hearthward_equipment::quantity::in_kelvins(read), 0.1, 200.0, "K")
}

/// A rate of heating, in kelvins an hour.
pub(super) fn rate_k_per_h(text: &str) -> Result<f64, String> {
    let rate = units::ramp(text).map_err(|error| error.to_string())?.kelvin_per_second() * 3600.0;
    within(rate, rate, 1.0, 360_000.0, "K/h")
}

/// A volume.
pub(super) fn volume(text: &str) -> Result<Volume, String> {
    units::volume(text).map_err(|error| error.to_string()).and_then(|volume| match volume.value > 0.0 {
        true => Ok(volume),
        false => Err("is nothing; give the volume that it holds".to_owned()),
    })
}

/// A flow of gas, read as litres at the shown reference conditions.
pub(super) fn gas_flow(text: &str) -> Result<GasFlow, String> {
    let read = units::flow(text).map_err(|error| error.to_string())?;
    Ok(flow_at(read.get::<liter_per_minute>(), SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))
}

/// What a supply can give: a flow above nothing.
pub(super) fn capacity(text: &str) -> Result<GasFlow, String> {
    let read = gas_flow(text)?;
    if read.value > 0.0 { Ok(read) } else { Err("is nothing; give the most that its regulator lets through".to_owned()) }
}

/// A share of 0 to 100 %.
pub(super) fn share(text: &str) -> Result<Ratio, String> {
    units::share(text).map_err(|error| error.to_string())
}

/// An electrical power.
pub(super) fn power(text: &str) -> Result<Power, String> {
    let read = units::power(text).map_err(|error| error.to_string())?;
    within(read, read.value, 1.0, 1e6, "W")
}

/// The heaviest section of a part.
pub(super) fn section_size(text: &str) -> Result<Length, String> {
    let read = units::length(text).map_err(|error| error.to_string())?;
    within(read, read.value * 1e3, 0.1, 500.0, "mm")
}

/// What one part weighs.
pub(super) fn part_mass(text: &str) -> Result<Mass, String> {
    let read = units::mass(text).map_err(|error| error.to_string())?;
    within(read, read.value, 0.001, 10_000.0, "kg")
}

/// How often the air of a room is exchanged.
pub(super) fn air_changes(text: &str) -> Result<Frequency, String> {
    units::air_changes(text).map_err(|error| error.to_string())
}

/// The gauge pressure of a full cylinder: common ones are filled to 150 to 300 bar (common practice, no source).
pub(super) fn filling_pressure(text: &str) -> Result<Pressure, String> {
    pressure_in(text, 1.0, 400.0)
}

/// How far a cylinder's gauge may be off: at most what a coarse one of 400 bar is, with room to spare (common practice, no source).
pub(super) fn gauge_error(text: &str) -> Result<Pressure, String> {
    pressure_in(text, 0.0, 30.0)
}

fn pressure_in(text: &str, least_bar: f64, most_bar: f64) -> Result<Pressure, String> {
    let read = units::pressure(text).map_err(|error| error.to_string())?;
    within(read, read.get::<bar>(), least_bar, most_bar, "bar")
}

/// A length of time within a range.
pub(crate) fn duration_in(text: &str, least_ms: u64, most_ms: u64) -> Result<Duration, String> {
    let read = units::time(text).map_err(|error| error.to_string())?;
    let span = Duration::try_from_secs_f64(read.value).map_err(|_| format!("{text:?} is no length of time"))?;
    if (Duration::from_millis(least_ms)..=Duration::from_millis(most_ms)).contains(&span) {
        return Ok(span);
    }
    Err(format!("is {text}, but it must lie between {} and {}", limit_words(least_ms), limit_words(most_ms)))
}

/// A limit of time as people write it, in the longest unit that it is a whole number of.
fn limit_words(ms: u64) -> String {
    let units = [(86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1_000, "s")];
    // Two days are said as hours: a soak of 48 h is spoken of, one of 2 d is not.
    let fits = units.into_iter().find(|(one, name)| ms >= *one && ms.is_multiple_of(*one) && (*name != "d" || ms > 2 * one));
    match fits {
        Some((one, name)) => format!("{} {name}", ms / one),
        None if ms == 0 => "0 s".to_owned(),
        None => format!("{ms} ms"),
    }
}

/// A gas that may be used to protect steel.
pub(super) fn protective_gas(text: &str) -> Result<Gas, String> {
    let mixture = Mixture::protective(text).map_err(|error| error.to_string())?;
    mixture.pure().ok_or_else(|| format!("{text:?} is a mixture, and one gas is needed; use pure argon, nitrogen or helium"))
}

/// A reading as a person types it, in whatever dimension its unit says.
pub(crate) fn reading(text: &str) -> Result<Kind, String> {
    let all = [
        units::temperature(text).map(|read| Kind::TemperatureC(in_celsius(read))),
        units::flow(text).map(|read| Kind::FlowLMin(read.get::<liter_per_minute>())),
        units::share(text).map(|read| Kind::Share(read.get::<ratio>())),
        units::pressure(text).map(|read| Kind::PressureKpa(read.get::<pascal>() / Pressure::new::<kilopascal>(1.0).value)),
    ];
    let bare = text.trim().parse().ok().filter(|number: &f64| number.is_finite()).map(Kind::Number);
    for read in all {
        match read {
            Ok(kind) => return Ok(kind),
            // It has a unit of this dimension, so it was meant as one.
            Err(error @ (ProcessError::OutOfRange { .. } | ProcessError::Negative { .. })) => {
                return Err(format!("is out of range: {error}"));
            }
            Err(_) => {}
        }
    }
    bare.ok_or_else(|| {
        "is no reading: write a number with its unit, such as \"52 C\", \"8 L/min\", \"140 bar\", \"20.9 %\", or yes or no"
            .to_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_number_is_refused_with_the_units_it_would_take() {
        let words = furnace_temperature("1900").expect_err("1900 what?");
        assert!(words.contains("unit") && words.contains('C'), "{words}");
        assert!(furnace_temperature("1900 C").is_err(), "above what any bench furnace reaches");
        assert!(furnace_temperature("1900 F").is_ok());
    }

    #[test]
    fn limits_are_said_as_people_write_them() {
        let words = |text, least_ms, most_ms| duration_in(text, least_ms, most_ms).expect_err("outside");
        assert_eq!(words("70 s", 0, 10_000), "is 70 s, but it must lie between 0 s and 10 s");
        assert_eq!(words("50 ms", 200, 3_600_000), "is 50 ms, but it must lie between 200 ms and 1 h");
        assert_eq!(words("3 d", 90_000, 172_800_000), "is 3 d, but it must lie between 90 s and 48 h");
        assert_eq!(words("1 h", 86_400_000, 10 * 365 * 86_400_000), "is 1 h, but it must lie between 24 h and 3650 d");
        assert_eq!(gauge_error("500 bar").expect_err("outside"), "is 500 bar, but it must lie between 0 and 30 bar");
        assert!(gauge_error("5 bar").is_ok() && filling_pressure("0.5 bar").is_err() && filling_pressure("200 bar").is_ok());
    }

    #[test]
    fn only_gases_that_protect_are_taken() {
        assert!(protective_gas("argon").is_ok());
        for bad in ["carbon dioxide", "argon + 18 % CO2", "air", "hydrogen", "propane"] {
            assert!(protective_gas(bad).is_err(), "{bad} was taken");
        }
    }

    #[test]
    fn readings_take_the_dimension_of_their_unit() {
        assert_eq!(reading("52 C"), Ok(Kind::TemperatureC(52.0)));
        assert!(matches!(reading("8 L/min"), Ok(Kind::FlowLMin(flow)) if (flow - 8.0).abs() < 1e-9));
        assert!(matches!(reading("140 bar"), Ok(Kind::PressureKpa(kpa)) if (kpa - 14_000.0).abs() < 1e-6));
        assert_eq!(reading("7"), Ok(Kind::Number(7.0)));
    }

    #[test]
    fn a_reading_out_of_range_is_told_with_the_range() {
        for (text, says) in [
            ("9999 C", "is out of range: a temperature is 9999 °C; it must lie between -273.15 and 3000 °C"),
            ("-2 L/min", "is out of range: a flow is -2 L/min; it must be 0 or more"),
            ("130 %", "is out of range: a share is 130 %"),
            ("warm", "is no reading"),
            ("inf", "is no reading"),
        ] {
            let said = reading(text).expect_err("it is none");
            assert!(said.starts_with(says), "{text}: {said}");
        }
        let words = power(&format!("1{} W", "0".repeat(300))).expect_err("too much");
        assert_eq!(words, "is 1.000e300 W, but it must lie between 1 and 1000000 W");
    }
}
