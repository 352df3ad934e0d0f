//! Quantities as people read them, in metric or customary units, to the figures that a shop can use.

use crate::constants::CUBIC_FOOT_M3;
use crate::si;
use uom::si::f64::{
    Length, Mass, Power, Pressure, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Volume, VolumeRate,
};
use uom::si::{
    length::{inch, micrometer, millimeter},
    mass::{gram, kilogram, milligram, pound},
    pressure::{bar, psi},
    ratio::{part_per_million, percent, ratio},
    thermodynamic_temperature::{degree_celsius, degree_fahrenheit},
    volume::{cubic_foot, cubic_inch, cubic_meter, liter},
    volume_rate::liter_per_minute,
};

/// The units that a person wants to see.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum System {
    /// Litres, millimetres, degrees Celsius, bar.
    #[default]
    Metric,
    /// Cubic feet and inches, inches, degrees Fahrenheit, psi.
    Us,
}

/// A number to so many significant figures, without an exponent and without trailing noughts.
///
/// `digits` counts from 1; 0 is taken as 1. What is not finite is written as Rust writes it.
pub fn figures(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return value.to_string();
    }
    let rounded = format!("{value:.*e}", digits.max(1) - 1);
    rounded.parse::<f64>().map_or(rounded, |value| value.to_string())
}

/// A volume: litres (cubic metres from 1 m³), or cubic feet (cubic inches below 1 ft³).
pub fn show_volume(volume: Volume, system: System) -> String {
    match system {
        System::Metric if volume.get::<cubic_meter>() >= 1.0 => with(volume.get::<cubic_meter>(), 3, "m³"),
        System::Metric => with(volume.get::<liter>(), 3, "L"),
        System::Us if volume.get::<cubic_foot>() < 1.0 => with(volume.get::<cubic_inch>(), 3, "in³"),
        System::Us => with(volume.get::<cubic_foot>(), 3, "ft³"),
    }
}

/// A flow by volume: litres a minute or cubic feet an hour. Say beside it which reference conditions it counts at.
pub fn show_flow(flow: VolumeRate, system: System) -> String {
    match system {
        System::Metric => with(flow.get::<liter_per_minute>(), 3, "L/min"),
        System::Us => with(flow.value * 3600.0 / CUBIC_FOOT_M3, 3, "ft³/h"),
    }
}

/// A length: millimetres (micrometres below 0.1 mm) or inches (microinches below 0.0005 in).
pub fn show_length(length: Length, system: System) -> String {
    match system {
        System::Metric if length.get::<millimeter>() < 0.1 => with(length.get::<micrometer>(), 2, "µm"),
        System::Metric => with(length.get::<millimeter>(), 3, "mm"),
        System::Us if length.get::<inch>() < 5e-4 => with(length.get::<inch>() * 1e6, 2, "µin"),
        System::Us => with(length.get::<inch>(), 3, "in"),
    }
}

/// A length in both systems, for sentences that stand in either: `4.76 mm (0.188 in)`.
pub fn show_length_both(length: Length) -> String {
    format!("{} ({})", show_length(length, System::Metric), show_length(length, System::Us))
}

/// A temperature to the whole degree: no furnace here is known better.
pub fn show_temperature(temperature: ThermodynamicTemperature, system: System) -> String {
    match system {
        System::Metric => format!("{:.0} °C", temperature.get::<degree_celsius>()),
        System::Us => format!("{:.0} °F", temperature.get::<degree_fahrenheit>()),
    }
}

/// A temperature in both systems, for sentences that stand in either: `205 °C (401 °F)`.
pub fn show_temperature_both(temperature: ThermodynamicTemperature) -> String {
    format!("{} ({})", show_temperature(temperature, System::Metric), show_temperature(temperature, System::Us))
}

/// A difference of temperature, in kelvin or Fahrenheit degrees (by 1.8 alone).
pub fn show_temperature_difference(difference: TemperatureInterval, system: System) -> String {
    match system {
        System::Metric => with(si::difference_k(difference), 3, "K"),
        System::Us => with(si::difference_k(difference) * 1.8, 3, "°F"),
    }
}

/// A time in the unit that fits: seconds below 2 min, minutes below 3 h, hours above.
pub fn show_time(time: Time) -> String {
    let time_s = time.value;
    if time_s < 120.0 {
        with(time_s, 3, "s")
    } else if time_s < 10_800.0 {
        with(time_s / 60.0, 3, "min")
    } else {
        with(time_s / 3600.0, 3, "h")
    }
}

/// A power: watts, kilowatts from 1 kW; the same in both systems, as the plate on a furnace has it.
pub fn show_power(power: Power) -> String {
    if power.value < 1000.0 { with(power.value, 3, "W") } else { with(power.value / 1000.0, 3, "kW") }
}

/// A pressure: bar or psi. Say beside it whether it counts from the room or from vacuum.
pub fn show_pressure(pressure: Pressure, system: System) -> String {
    match system {
        System::Metric => with(pressure.get::<bar>(), 3, "bar"),
        System::Us => with(pressure.get::<psi>(), 3, "psi"),
    }
}

/// A mass: milligrams below 1 g in either system, since nobody weighs scale in ounces; grams below 1 kg; kilograms or pounds.
pub fn show_mass(mass: Mass, system: System) -> String {
    match system {
        _ if mass.get::<gram>() < 1.0 => with(mass.get::<milligram>(), 3, "mg"),
        System::Metric if mass.get::<kilogram>() < 1.0 => with(mass.get::<gram>(), 3, "g"),
        System::Metric => with(mass.get::<kilogram>(), 3, "kg"),
        System::Us => with(mass.get::<pound>(), 3, "lb"),
    }
}

/// A share: per cent, parts per million below 0.1 %; to the hundredth from 10 % up, so that air shows as 20.95 %.
pub fn show_ratio(share: Ratio) -> String {
    match share.get::<ratio>() {
        0.0 => "0 %".to_owned(),
        small if small < 1e-3 => with(share.get::<part_per_million>(), 3, "ppm"),
        middle if middle < 0.1 => with(share.get::<percent>(), 3, "%"),
        _ => with(share.get::<percent>(), 4, "%"),
    }
}

fn with(value: f64, digits: usize, unit: &str) -> String {
    format!("{} {unit}", figures(value, digits))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn figures_round_once_and_drop_noughts() {
        assert_eq!(figures(1.0 / 3.0, 3), "0.333");
        assert_eq!(figures(523.135, 3), "523");
        assert_eq!(figures(1604.2, 3), "1600");
        assert_eq!(figures(0.0, 3), "0");
    }

    #[test]
    fn both_systems_show_the_same_quantity() {
        let chamber = units::volume("360 in3").unwrap();
        assert_eq!(show_volume(chamber, System::Metric), "5.9 L");
        assert_eq!(show_volume(chamber, System::Us), "360 in³");
        assert_eq!(show_temperature(units::temperature("1475 F").unwrap(), System::Metric), "802 °C");
        assert_eq!(show_ratio(units::share("5 ppm").unwrap()), "5 ppm");
        assert_eq!(show_ratio(units::share("20.95 %").unwrap()), "20.95 %");
        assert_eq!(show_ratio(units::share("0 ppm").unwrap()), "0 %");
        assert_eq!(show_time(units::time("2 h").unwrap()), "120 min");
    }
}
