//! Thermocouples: voltage to temperature by the ITS-90 reference functions, the cold junction, and the tolerance classes.
//!
//! The cold junction is compensated in millivolts: `E(hot) = E(measured) + E(cold)`, never by adding degrees, which is
//! wrong by a degree or more. Type B is not single-valued below 42 °C and gives nothing there.
//!
//! Tolerances are those of IEC 60584-1:2013 for new wire. Wire that has been hot drifts: type K by several kelvin in its
//! first hours around 300 to 500 °C and again above 1000 °C (common practice, no source).
//!
//! ```
//! use hearthward_process::thermocouple::Thermocouple;
//! use hearthward_process::units::{self, System};
//!
//! let (hot, cold) = (units::temperature("800 C")?, units::temperature("24 C")?);
//! let voltage = Thermocouple::K.voltage(hot, cold)?;
//! assert_eq!(units::show_temperature(Thermocouple::K.temperature(voltage, cold)?, System::Metric), "800 °C");
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod coefficients;

use crate::error::{Result, impossible, within};
use crate::numeric::root;
use crate::si;
use coefficients::{K_BELL, Piece};
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricPotential, TemperatureInterval, ThermodynamicTemperature};

/// A letter of IEC 60584-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thermocouple {
    /// 70 % platinum 30 % rhodium against 94 % platinum 6 % rhodium.
    B,
    /// Nickel-chromium against copper-nickel.
    E,
    /// Iron against copper-nickel.
    J,
    /// Nickel-chromium against nickel-aluminium: the usual one of small furnaces.
    K,
    /// Nickel-chromium-silicon against nickel-silicon: steadier than K when hot.
    N,
    /// 87 % platinum 13 % rhodium against platinum.
    R,
    /// 90 % platinum 10 % rhodium against platinum.
    S,
    /// Copper against copper-nickel.
    T,
}

/// A tolerance class of IEC 60584-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// The closest.
    One,
    /// The usual.
    Two,
    /// For type B, and for cold work with others.
    Three,
}

/// A straight piece of a tolerance: `fixed_k + slope t`, either way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Its lower end, °C.
    pub from_c: f64,
    /// Its upper end, °C.
    pub to_c: f64,
    /// The part that is the same everywhere, K.
    pub fixed_k: f64,
    /// The part that grows with the temperature in °C, K/K.
    pub slope: f64,
}

const fn segment(from_c: f64, to_c: f64, fixed_k: f64, slope: f64) -> Segment {
    Segment { from_c, to_c, fixed_k, slope }
}

impl Thermocouple {
    /// Reads the letter.
    ///
    /// # Errors
    /// Any other text.
    pub fn named(letter: &str) -> Result<Self> {
        let all = [Self::B, Self::E, Self::J, Self::K, Self::N, Self::R, Self::S, Self::T];
        all.into_iter()
            .zip(["B", "E", "J", "K", "N", "R", "S", "T"])
            .find(|(_, name)| letter.trim().eq_ignore_ascii_case(name))
            .map(|(couple, _)| couple)
            .ok_or_else(|| impossible("a thermocouple", format!("`{}` is not one of B, E, J, K, N, R, S, T", letter.trim())))
    }

    /// The voltage between a hot junction and a cold one.
    ///
    /// # Errors
    /// A temperature outside the reference function's range.
    pub fn voltage(self, hot: ThermodynamicTemperature, cold: ThermodynamicTemperature) -> Result<ElectricPotential> {
        let millivolts = self.mv(self.in_range("the hot junction", hot)?) - self.mv(self.in_range("the cold junction", cold)?);
        Ok(ElectricPotential::new::<volt>(millivolts / 1e3))
    }

    /// The temperature of the hot junction from the measured voltage and the cold junction.
    ///
    /// Type B is read from 42 °C up, where it is single-valued. Found by a root of the reference function itself, so that
    /// it agrees with [`Thermocouple::voltage`] to the last digits.
    ///
    /// # Errors
    /// A cold junction outside -40 to 100 °C, a voltage outside the range of the type.
    pub fn temperature(self, measured: ElectricPotential, cold: ThermodynamicTemperature) -> Result<ThermodynamicTemperature> {
        within("the cold junction", si::celsius(cold), "°C", -40.0, 100.0)?;
        let total_mv = measured.value * 1e3 + self.mv(self.in_range("the cold junction", cold)?);
        let (low_c, high_c) = match self {
            Self::B => (42.0, self.range_c().1),
            _ => self.range_c(),
        };
        within("the voltage over 0 °C", total_mv, "mV", self.mv(low_c), self.mv(high_c))?;
        root(low_c, high_c, 1e-9, |t_c| self.mv(t_c) - total_mv)
            .map(si::from_celsius)
            .ok_or_else(|| impossible("a thermocouple's temperature", "the voltage has no temperature".to_owned()))
    }

    /// How much the voltage changes per kelvin at a temperature.
    ///
    /// # Errors
    /// A temperature outside the reference function's range.
    pub fn sensitivity(self, temperature: ThermodynamicTemperature) -> Result<ElectricPotential> {
        let t_c = self.in_range("the temperature", temperature)?;
        Ok(ElectricPotential::new::<volt>(self.slope_mv_k(t_c) / 1e3))
    }

    /// The tolerance of new wire of a class at a temperature, either way; `None` where the class does not go.
    pub fn tolerance(self, class: Class, temperature: ThermodynamicTemperature) -> Option<TemperatureInterval> {
        let t_c = si::celsius(temperature);
        self.segments(class)
            .iter()
            .find(|segment| t_c >= segment.from_c - ROUNDING_K && t_c <= segment.to_c + ROUNDING_K)
            .map(|segment| si::difference(segment.fixed_k + segment.slope * t_c))
    }

    /// Straight pieces of a class, by rising temperature.
    ///
    /// IEC 60584-1:2013, read from two public reproductions. R and S of class 1 above 1100 °C: `1 + 0.003 (t - 1100)`,
    /// often misprinted.
    pub fn segments(self, class: Class) -> &'static [Segment] {
        match (self, class) {
            (Self::K | Self::N, Class::One) => const { &[segment(-40.0, 375.0, 1.5, 0.0), segment(375.0, 1000.0, 0.0, 0.004)] },
            (Self::K | Self::N, Class::Two) => const { &[segment(-40.0, 333.0, 2.5, 0.0), segment(333.0, 1200.0, 0.0, 0.0075)] },
            (Self::E, Class::One) => const { &[segment(-40.0, 375.0, 1.5, 0.0), segment(375.0, 800.0, 0.0, 0.004)] },
            (Self::E, Class::Two) => const { &[segment(-40.0, 333.0, 2.5, 0.0), segment(333.0, 900.0, 0.0, 0.0075)] },
            (Self::J, Class::One) => const { &[segment(-40.0, 375.0, 1.5, 0.0), segment(375.0, 750.0, 0.0, 0.004)] },
            (Self::J, Class::Two) => const { &[segment(-40.0, 333.0, 2.5, 0.0), segment(333.0, 750.0, 0.0, 0.0075)] },
            (Self::T, Class::One) => const { &[segment(-40.0, 125.0, 0.5, 0.0), segment(125.0, 350.0, 0.0, 0.004)] },
            (Self::T, Class::Two) => const { &[segment(-40.0, 133.0, 1.0, 0.0), segment(133.0, 350.0, 0.0, 0.0075)] },
            (Self::R | Self::S, Class::One) => const { &[segment(0.0, 1100.0, 1.0, 0.0), segment(1100.0, 1600.0, -2.3, 0.003)] },
            (Self::R | Self::S, Class::Two) => const { &[segment(0.0, 600.0, 1.5, 0.0), segment(600.0, 1600.0, 0.0, 0.0025)] },
            (Self::B, Class::Two) => const { &[segment(600.0, 1700.0, 0.0, 0.0025)] },
            (Self::B, Class::Three) => const { &[segment(600.0, 800.0, 4.0, 0.0), segment(800.0, 1700.0, 0.0, 0.005)] },
            _ => &[],
        }
    }

    const fn pieces(self) -> &'static [Piece] {
        match self {
            Self::B => coefficients::B,
            Self::E => coefficients::E,
            Self::J => coefficients::J,
            Self::K => coefficients::K,
            Self::N => coefficients::N,
            Self::R => coefficients::R,
            Self::S => coefficients::S,
            Self::T => coefficients::T,
        }
    }

    fn range_c(self) -> (f64, f64) {
        let pieces = self.pieces();
        // Below -200 °C some functions turn flat; nothing in this trade is that cold.
        let low_c = pieces.first().map_or(0.0, |piece| piece.low_c).max(-210.0);
        (low_c, pieces.last().map_or(0.0, |piece| piece.high_c))
    }

    fn in_range(self, what: &'static str, temperature: ThermodynamicTemperature) -> Result<f64> {
        let (low_c, high_c) = self.range_c();
        within(what, si::celsius(temperature), "°C", low_c, high_c)
    }

    /// The reference function at a temperature in its range.
    fn mv(self, t_c: f64) -> f64 {
        let powers = self.powers(t_c);
        powers.iter().rev().fold(0.0, |sum, power| sum * t_c + power) + self.bell(t_c)
    }

    fn slope_mv_k(self, t_c: f64) -> f64 {
        let powers = self.powers(t_c);
        let slope = powers.iter().enumerate().skip(1).rev().fold(0.0, |sum, (n, power)| sum * t_c + n as f64 * power);
        slope + 2.0 * K_BELL.1 * (t_c - K_BELL.2) * self.bell(t_c)
    }

    fn powers(self, t_c: f64) -> &'static [f64] {
        let pieces = self.pieces();
        let piece = pieces.iter().find(|piece| t_c >= piece.low_c && t_c <= piece.high_c).or(pieces.last());
        piece.map_or(&[], |piece| piece.powers)
    }

    fn bell(self, t_c: f64) -> f64 {
        let (a, b, c) = K_BELL;
        if self == Self::K && t_c > 0.0 { a * libm::exp(b * (t_c - c) * (t_c - c)) } else { 0.0 }
    }
}

/// What a conversion to kelvin and back may lose.
const ROUNDING_K: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn voltage_and_temperature_are_each_others_inverse() {
        for couple in [Thermocouple::K, Thermocouple::N, Thermocouple::S, Thermocouple::J] {
            let (hot, cold) = (si::from_celsius(712.0), si::from_celsius(24.0));
            let back = couple.temperature(couple.voltage(hot, cold).unwrap(), cold).unwrap();
            assert!((back.value - hot.value).abs() < 1e-6, "{couple:?}");
        }
    }

    #[test]
    fn a_broken_reading_is_out_of_range() {
        let open = ElectricPotential::new::<volt>(0.08);
        let said = Thermocouple::K.temperature(open, si::from_celsius(24.0)).unwrap_err().to_string();
        assert!(said.contains("mV; it must lie between"), "{said}");
    }

    #[test]
    fn class_one_ends_where_the_standard_ends_it() {
        assert_eq!(Thermocouple::K.tolerance(Class::One, si::from_celsius(1050.0)), None);
        let two = Thermocouple::K.tolerance(Class::Two, si::from_celsius(800.0)).unwrap();
        assert!((two.value - 6.0).abs() < 1e-12);
    }
}
