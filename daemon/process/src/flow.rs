//! Flow as an amount of gas, and the litres that it fills: at the meter's reference conditions, or in the hot chamber.
//!
//! A litre of gas means nothing until its temperature and pressure are said, and makers do not agree on them. So a flow
//! is kept in moles a second, and reference conditions appear only where a volume is read or shown.
//!
//! ```
//! use hearthward_process::flow::{Reference, actual};
//! use hearthward_process::units;
//! use uom::si::volume_rate::liter_per_minute;
//!
//! // 2 L/min counted at 21.1 °C fill 7.3 L/min in a chamber at 800 °C.
//! let flow = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min")?);
//! let hot = actual(flow, units::temperature("800 C")?, Reference::TWENTY_ONE.pressure())?;
//! assert!((hot.get::<liter_per_minute>() - 7.294).abs() < 0.001);
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

use crate::constants::{ATMOSPHERE_PA, R};
use crate::error::{Result, within};
use crate::{AmountFlow, si};
use uom::si::f64::{AmountOfSubstance, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};

/// The conditions at which a volume of gas is counted; the gas is taken as ideal there.
///
/// At one atmosphere and room temperature an ideal litre is within 0.1 % of a real one (argon 0.07 %, carbon dioxide
/// 0.5 %).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    temperature_k: f64,
    pressure_pa: f64,
}

impl Reference {
    /// 0 °C and 101.325 kPa: the "normal" litre.
    pub const ZERO: Self = Self { temperature_k: 273.15, pressure_pa: ATMOSPHERE_PA };
    /// 20 °C and 101.325 kPa.
    pub const TWENTY: Self = Self { temperature_k: 293.15, pressure_pa: ATMOSPHERE_PA };
    /// 21.1 °C (70 °F) and 101.325 kPa: the "standard" cubic foot of the gas trade.
    ///
    /// 70 °F is 21.111 °C; the rounding is worth 38 parts in a million.
    pub const TWENTY_ONE: Self = Self { temperature_k: 294.25, pressure_pa: ATMOSPHERE_PA };

    /// Reference conditions of your own.
    ///
    /// # Errors
    /// A temperature outside -50 to 100 °C, an absolute pressure outside 0.5 to 2 bar.
    pub fn new(temperature: ThermodynamicTemperature, pressure: Pressure) -> Result<Self> {
        within("the reference temperature", si::celsius(temperature), "°C", -50.0, 100.0)?;
        within("the reference pressure, absolute,", pressure.value / 1e5, "bar", 0.5, 2.0)?;
        Ok(Self { temperature_k: si::kelvin(temperature), pressure_pa: pressure.value })
    }

    /// Reference conditions at a temperature and one standard atmosphere, as most meters have them.
    ///
    /// # Errors
    /// A temperature outside -50 to 100 °C.
    pub fn at(temperature: ThermodynamicTemperature) -> Result<Self> {
        Self::new(temperature, si::pascals(ATMOSPHERE_PA))
    }

    /// The temperature that volumes count at.
    pub fn temperature(&self) -> ThermodynamicTemperature {
        si::from_kelvin(self.temperature_k)
    }

    /// The absolute pressure that volumes count at.
    pub fn pressure(&self) -> Pressure {
        si::pascals(self.pressure_pa)
    }

    /// The amount of gas in a volume counted at these conditions.
    pub fn amount(&self, volume: Volume) -> AmountOfSubstance {
        si::moles(volume.value * self.pressure_pa / (R * self.temperature_k))
    }

    /// The volume that an amount of gas fills at these conditions.
    pub fn volume(&self, amount: AmountOfSubstance) -> Volume {
        si::cubic_metres(amount.value * R * self.temperature_k / self.pressure_pa)
    }

    /// The flow as an amount, from litres a minute or cubic feet an hour counted at these conditions.
    pub fn amount_flow(&self, flow: VolumeRate) -> AmountFlow {
        si::mole_rate(flow.value * self.pressure_pa / (R * self.temperature_k))
    }

    /// The flow in volume counted at these conditions.
    pub fn volume_flow(&self, flow: AmountFlow) -> VolumeRate {
        si::volume_rate(flow.value * R * self.temperature_k / self.pressure_pa)
    }

    /// How the conditions are said beside a number, such as `21.1 °C (70 °F), 1.01325 bar`.
    pub fn words(&self) -> String {
        format!(
            "{} °C ({:.0} °F), {} bar",
            crate::units::figures(self.temperature_k - si::ICE_K, 4),
            (self.temperature_k - si::ICE_K) * 1.8 + 32.0,
            crate::units::figures(self.pressure_pa / 1e5, 6)
        )
    }
}

/// The volume that a flow fills each second at a temperature and absolute pressure: what really moves in a hot chamber.
///
/// # Errors
/// A temperature outside -50 to 1250 °C or a pressure outside 0.5 to 300 bar.
pub fn actual(flow: AmountFlow, temperature: ThermodynamicTemperature, pressure: Pressure) -> Result<VolumeRate> {
    within("the temperature of the gas", si::celsius(temperature), "°C", -50.0, 1250.0)?;
    within("the absolute pressure", pressure.value / 1e5, "bar", 0.5, 300.0)?;
    Ok(si::volume_rate(flow.value * R * si::kelvin(temperature) / pressure.value))
}

/// How many times larger a litre metered at the reference grows in the chamber.
///
/// # Errors
/// As for [`actual`].
pub fn expansion(reference: Reference, temperature: ThermodynamicTemperature, pressure: Pressure) -> Result<Ratio> {
    let one = si::mole_rate(1.0);
    Ok(si::fraction(actual(one, temperature, pressure)?.value / reference.volume_flow(one).value))
}

/// The amount of gas that a flow delivers in a time.
pub fn delivered(flow: AmountFlow, time: Time) -> AmountOfSubstance {
    si::moles(flow.value * time.value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn the_same_litres_hold_less_gas_when_counted_warmer() {
        let read = units::flow("2 L/min").unwrap();
        let (cold, warm) = (Reference::ZERO.amount_flow(read), Reference::TWENTY_ONE.amount_flow(read));
        assert!((cold.value / warm.value - 294.25 / 273.15).abs() < 1e-12);
    }

    #[test]
    fn a_mole_fills_the_textbook_litres() {
        // 22.414 L at 0 °C and 101.325 kPa: CODATA 2018 molar volume of an ideal gas, 22.413 969 54 L/mol.
        assert!((Reference::ZERO.volume(si::moles(1.0)).value - 0.022_413_969_54).abs() < 1e-10);
    }

    #[test]
    fn gas_metered_at_room_temperature_swells_in_the_furnace() {
        let factor = expansion(Reference::TWENTY_ONE, si::from_celsius(800.0), si::pascals(ATMOSPHERE_PA)).unwrap();
        assert!((factor.value - 1073.15 / 294.25).abs() < 1e-12);
    }
}
