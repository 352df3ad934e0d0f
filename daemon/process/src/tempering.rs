//! Tempering: the parameter that trades time for temperature, equivalent tempers, and several tempers in a row.
//!
//! Hollomon and Jaffe, Trans. AIME 162 (1945) 223: `P = T (C + log10 t) / 1000` with kelvin and hours; C = 20 is the usual
//! round value, 14.8 to 19.5 their own for carbon steels. Times at one temperature add; a temper at another temperature
//! counts as the time that makes the same P. The rule says nothing of secondary hardening in high-alloy steels, where a
//! curve turns up again, nor of how much retained austenite a second temper transforms.
//!
//! ```
//! use hearthward_process::tempering::{Temper, USUAL_C, equivalent_temperature, together};
//! use hearthward_process::units::{self, System};
//!
//! let temper = Temper { temperature: units::temperature("205 C")?, time: units::time("2 h")? };
//! let twice = together(&[temper, temper], temper.temperature, USUAL_C)?;
//! let quick = equivalent_temperature(twice, units::time("1 h")?, USUAL_C)?;
//! assert_eq!(units::show_temperature(quick, System::Metric), "219 °C");
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

use crate::error::{Result, impossible, within};
use crate::numeric::ten_to;
use crate::si;
use uom::si::f64::{ThermodynamicTemperature, Time};

/// One temper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temper {
    /// Its temperature.
    pub temperature: ThermodynamicTemperature,
    /// How long.
    pub time: Time,
}

/// Hollomon and Jaffe's constant, usual round value.
pub const USUAL_C: f64 = 20.0;

/// How many tempers are usual, one after another (common practice, no source).
pub const USUAL_TIMES: usize = 2;

/// How long each of them usually is, in minutes (common practice, no source).
pub const USUAL_MIN: f64 = 120.0;

/// The hottest temper that the parameter is worked out for, °C: a little above where austenite forms in plain steel.
pub const HOTTEST_C: f64 = 750.0;

/// The tempering parameter, in thousands of kelvin.
///
/// # Errors
/// A temperature outside 0 to 750 °C, a time outside 1 s to 1000 h, a constant outside 10 to 25.
pub fn parameter(temper: Temper, c: f64) -> Result<f64> {
    let (t_k, hours) = checked(temper)?;
    within("the constant C", c, "", 10.0, 25.0)?;
    Ok(t_k * (c + libm::log10(hours)) / 1e3)
}

/// The temperature at which another time tempers as much. It may lie above [`HOTTEST_C`], where it tells nothing.
///
/// # Errors
/// As for [`parameter`].
pub fn equivalent_temperature(temper: Temper, time: Time, c: f64) -> Result<ThermodynamicTemperature> {
    let p = parameter(temper, c)?;
    let (_, hours) = checked(Temper { time, ..temper })?;
    Ok(si::from_kelvin(p * 1e3 / (c + libm::log10(hours))))
}

/// The time that tempers as much at another temperature.
///
/// # Errors
/// As for [`parameter`].
pub fn equivalent_time(temper: Temper, temperature: ThermodynamicTemperature, c: f64) -> Result<Time> {
    let p = parameter(temper, c)?;
    let (t_k, _) = checked(Temper { temperature, ..temper })?;
    Ok(si::seconds(ten_to(p * 1e3 / t_k - c) * 3600.0))
}

/// Several tempers in a row as one at a temperature: the equivalent times add.
///
/// # Errors
/// As for [`parameter`]; no temper at all.
pub fn together(tempers: &[Temper], temperature: ThermodynamicTemperature, c: f64) -> Result<Temper> {
    if tempers.is_empty() {
        return Err(impossible("tempers in a row", "there is none".to_owned()));
    }
    let mut sum_s = 0.0;
    for &temper in tempers {
        sum_s += equivalent_time(temper, temperature, c)?.value;
    }
    Ok(Temper { temperature, time: si::seconds(sum_s) })
}

fn checked(temper: Temper) -> Result<(f64, f64)> {
    within("the temper's temperature", si::celsius(temper.temperature), "°C", 0.0, HOTTEST_C)?;
    let hours = within("the temper's time", temper.time.value / 3600.0, "h", 1.0 / 3600.0, 1000.0)?;
    Ok((si::kelvin(temper.temperature), hours))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn hotter_or_longer_tempers_more() {
        let temper =
            |t: &str, time: &str| Temper { temperature: units::temperature(t).unwrap(), time: units::time(time).unwrap() };
        let p = |temper| parameter(temper, USUAL_C).unwrap();
        assert!(p(temper("220 C", "2 h")) > p(temper("205 C", "2 h")));
        assert!(p(temper("205 C", "4 h")) > p(temper("205 C", "2 h")));
    }
}
