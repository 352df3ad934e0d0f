//! Cylinders: what the gauge means, how long it lasts, whether it reaches the end of a cycle, and whether it leaked overnight.
//!
//! Argon at 165 bar holds 6 % more than the ideal gas law says, so contents come from the published equations of state
//! ([`Cylinder::contents`]). A liquefied gas tells nothing by its pressure while liquid is left: weigh it
//! ([`Cylinder::liquefied`]).
//!
//! A whole cylinder let go in a small room takes the oxygen that people breathe: ask [`crate::room`] before one stands there.
//!
//! ```
//! use hearthward_process::cylinder::Cylinder;
//! use hearthward_process::gas::Gas;
//! use hearthward_process::units::{self, System};
//!
//! let cylinder = Cylinder::new(Gas::Argon, units::volume("10 L")?)?;
//! let held = cylinder.contents(units::pressure("165 bar")?, units::temperature("18 C")?)?;
//! assert_eq!(units::show_mass(held.mass, System::Metric), "2.92 kg");
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod coefficients;
mod equation;
mod supply;

pub use supply::{Draw, Forecast, Overnight, Reach, amount_drawn, forecast, lasts, overnight};

use crate::constants::{ATMOSPHERE_PA, R};
use crate::error::{Result, impossible, within};
use crate::flow::Reference;
use crate::gas::Gas;
use crate::si;
use equation::{CO2_CRITICAL, Isotherm, saturation};
use uom::si::f64::{AmountOfSubstance, Mass, Pressure, Ratio, ThermodynamicTemperature, Volume};

/// A cylinder: its water volume and its gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    gas: Gas,
    volume_m3: f64,
}

/// What a cylinder holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contents {
    /// The mass of gas.
    pub mass: Mass,
    /// The amount of gas, which is what flows use up.
    pub amount: AmountOfSubstance,
    /// The volume that the real gas fills at 21.1 °C and 101.325 kPa: what the gas trade sells.
    pub standard_volume: Volume,
    /// The compressibility factor: below 1 the cylinder holds more than the ideal gas law says.
    pub compressibility: Ratio,
    /// The amount that the ideal gas law would say.
    pub ideal_amount: AmountOfSubstance,
    /// The state of the contents.
    pub phase: Phase,
}

/// The state of a cylinder's contents.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Gas: the pressure tells the contents.
    Gas,
    /// Liquid with vapour over it: the pressure tells the temperature, and nothing of the contents.
    LiquidAndVapour,
    /// Liquid alone: the pressure climbs fast with temperature.
    Liquid,
}

/// A cylinder of liquefied gas, judged by weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquefied {
    /// The gauge pressure that it shows.
    pub gauge: Pressure,
    /// The share of the cylinder's volume that is liquid; 0 once only vapour is left.
    pub liquid: Ratio,
    /// The state.
    pub phase: Phase,
    /// What it holds.
    pub amount: AmountOfSubstance,
    /// The volume that the real gas fills at 21.1 °C and 101.325 kPa.
    pub standard_volume: Volume,
}

impl Cylinder {
    /// A cylinder of a water volume, holding one gas.
    ///
    /// # Errors
    /// A volume outside 0.1 to 1000 L; oxygen and air, for which this crate has no equation of state and no use.
    pub fn new(gas: Gas, volume: Volume) -> Result<Self> {
        let litres = within("the cylinder's water volume", volume.value * 1e3, "L", 0.1, 1000.0)?;
        if Isotherm::new(gas, 300.0).is_none() {
            return Err(impossible("a cylinder", format!("there is no equation of state here for {}", gas.name())));
        }
        Ok(Self { gas, volume_m3: litres / 1e3 })
    }

    /// A cylinder that is known by what a full one holds: a volume counted at 21.1 °C and 101.325 kPa, as the gas trade sells
    /// it, at the gauge pressure of a full one at 21.1 °C.
    ///
    /// # Errors
    /// As for [`Cylinder::new`], of the water volume that follows; a filling outside 1 to 300 bar.
    pub fn holding(gas: Gas, contents: Volume, filled: Pressure) -> Result<Self> {
        within("the filling pressure", filled.value / 1e5, "bar", 1.0, 300.0)?;
        let litre = Self::new(gas, si::cubic_metres(1e-3))?;
        let each = litre.contents(filled, Reference::TWENTY_ONE.temperature())?.standard_volume;
        Self::new(gas, si::cubic_metres(contents.value / each.value * 1e-3))
    }

    /// The gas.
    pub fn gas(&self) -> Gas {
        self.gas
    }

    /// The water volume.
    pub fn volume(&self) -> Volume {
        si::cubic_metres(self.volume_m3)
    }

    /// Contents from the gauge pressure and the temperature of the cylinder, at a barometer of one atmosphere.
    ///
    /// Against CoolProp within 0.01 % for argon, nitrogen and carbon dioxide at 0 to 230 bar gauge, 10 to 30 °C.
    ///
    /// # Errors
    /// A gauge pressure outside 0 to 300 bar, a temperature outside -20 to 60 °C; carbon dioxide exactly at the pressure
    /// of its liquid, where the pressure tells nothing: weigh it.
    pub fn contents(&self, gauge: Pressure, temperature: ThermodynamicTemperature) -> Result<Contents> {
        let (absolute_pa, t_k) = (gauge_in_range(gauge)? + ATMOSPHERE_PA, in_range(temperature)?);
        let (density_mol_m3, phase) = self.density(absolute_pa, t_k)?;
        let amount_mol = density_mol_m3 * self.volume_m3;
        Ok(Contents {
            mass: si::kilograms(amount_mol * self.gas.molar_kg()),
            amount: si::moles(amount_mol),
            standard_volume: self.standard_volume(amount_mol)?,
            compressibility: si::fraction(absolute_pa / (density_mol_m3 * R * t_k)),
            ideal_amount: si::moles(absolute_pa * self.volume_m3 / (R * t_k)),
            phase,
        })
    }

    /// The amount that can be drawn until the gauge falls to `leave`, at the same temperature.
    ///
    /// # Errors
    /// As for [`Cylinder::contents`]; zero, not an error, if the gauge is below `leave` already.
    pub fn usable(&self, gauge: Pressure, temperature: ThermodynamicTemperature, leave: Pressure) -> Result<AmountOfSubstance> {
        let left = self.amount(leave, temperature)?;
        Ok(si::moles((self.amount(gauge, temperature)?.value - left.value).max(0.0)))
    }

    /// The amount of gas alone: [`Cylinder::contents`] without its standard volume, which costs as much again.
    fn amount(&self, gauge: Pressure, temperature: ThermodynamicTemperature) -> Result<AmountOfSubstance> {
        let density = self.density(gauge_in_range(gauge)? + ATMOSPHERE_PA, in_range(temperature)?)?;
        Ok(si::moles(density.0 * self.volume_m3))
    }

    /// The gauge pressure of a given content at a temperature, for gas that is not liquefied.
    ///
    /// # Errors
    /// A temperature outside -20 to 60 °C, more gas than fits under 300 bar, less than fills the cylinder at one
    /// atmosphere; a content of carbon dioxide that would be partly liquid (use [`Cylinder::liquefied`]).
    pub fn gauge(&self, amount: AmountOfSubstance, temperature: ThermodynamicTemperature) -> Result<Pressure> {
        let t_k = in_range(temperature)?;
        let density_mol_m3 = within("the content", amount.value, "mol", 0.0, 1e6)? / self.volume_m3;
        if self.gas == Gas::CarbonDioxide
            && let Some(saturated) = saturation(t_k)
            && density_mol_m3 * self.gas.molar_kg() > saturated.vapour_kg_m3
        {
            return Err(impossible("the gauge of a carbon dioxide cylinder", "part of it is liquid; weigh it".to_owned()));
        }
        let absolute_pa = self.isotherm(t_k)?.pressure_pa(density_mol_m3);
        within("the gauge pressure", (absolute_pa - ATMOSPHERE_PA) / 1e5, "bar", -1e-6, 300.0).map(|bar| si::pascals(bar * 1e5))
    }

    /// The state of a cylinder of carbon dioxide from the net mass in it.
    ///
    /// # Errors
    /// Any other gas; a filling outside 0.001 to 0.9 kg/L, a temperature outside -20 to 60 °C.
    pub fn liquefied(&self, mass: Mass, temperature: ThermodynamicTemperature) -> Result<Liquefied> {
        if self.gas != Gas::CarbonDioxide {
            return Err(impossible("weighing a cylinder", format!("{} is not liquefied in it; read its gauge", self.gas.name())));
        }
        let t_k = in_range(temperature)?;
        let density_kg_m3 = within("the filling", mass.value / self.volume_m3 / 1e3, "kg/L", 1e-3, 0.9)? * 1e3;
        let amount_mol = mass.value / self.gas.molar_kg();
        let single = |phase, liquid: f64| -> Result<(f64, f64, Phase)> {
            Ok((self.isotherm(t_k)?.pressure_pa(density_kg_m3 / self.gas.molar_kg()), liquid, phase))
        };
        let (absolute_pa, liquid, phase) = match saturation(t_k) {
            Some(s) if density_kg_m3 > s.vapour_kg_m3 && density_kg_m3 < s.liquid_kg_m3 => {
                let share = (density_kg_m3 - s.vapour_kg_m3) / (s.liquid_kg_m3 - s.vapour_kg_m3);
                (s.pressure_pa, share, Phase::LiquidAndVapour)
            }
            Some(s) if density_kg_m3 >= s.liquid_kg_m3 => single(Phase::Liquid, 1.0)?,
            Some(_) | None => single(Phase::Gas, 0.0)?,
        };
        Ok(Liquefied {
            gauge: si::pascals(absolute_pa - ATMOSPHERE_PA),
            liquid: si::fraction(liquid),
            phase,
            amount: si::moles(amount_mol),
            standard_volume: self.standard_volume(amount_mol)?,
        })
    }

    fn isotherm(&self, t_k: f64) -> Result<Isotherm> {
        Isotherm::new(self.gas, t_k)
            .ok_or_else(|| impossible("a cylinder", format!("no equation of state for {}", self.gas.name())))
    }

    /// Molar density and state at an absolute pressure.
    fn density(&self, absolute_pa: f64, t_k: f64) -> Result<(f64, Phase)> {
        let isotherm = self.isotherm(t_k)?;
        let molar_kg = self.gas.molar_kg();
        let (low, high, phase) = match saturation(t_k).filter(|_| self.gas == Gas::CarbonDioxide) {
            // A hair beyond the auxiliary equations' saturated densities, which are not exactly the equation's own.
            Some(s) if absolute_pa < s.pressure_pa => (0.0, s.vapour_kg_m3 * 1.002 / molar_kg, Phase::Gas),
            Some(s) => (s.liquid_kg_m3 * 0.998 / molar_kg, 1300.0 / molar_kg, Phase::Liquid),
            None if self.gas == Gas::CarbonDioxide => (0.0, 1300.0 / molar_kg, Phase::Gas),
            // Twice the ideal density bounds argon, nitrogen and helium at 300 bar and room temperature.
            None => (0.0, 2.0 * absolute_pa / (R * t_k), Phase::Gas),
        };
        let found = isotherm.density_mol_m3(absolute_pa, low, high).ok_or_else(|| {
            impossible(
                "the contents of a cylinder",
                "its pressure is that of liquid and vapour together and tells nothing; weigh it".to_owned(),
            )
        })?;
        let phase = if phase == Phase::Liquid && found * molar_kg < CO2_CRITICAL.2 { Phase::Gas } else { phase };
        Ok((found, phase))
    }

    /// The volume of the real gas at 21.1 °C and one atmosphere.
    fn standard_volume(&self, amount_mol: f64) -> Result<Volume> {
        let standard = self.density(ATMOSPHERE_PA, si::kelvin(Reference::TWENTY_ONE.temperature()))?.0;
        Ok(si::cubic_metres(amount_mol / standard))
    }
}

fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature of the cylinder", si::celsius(temperature), "°C", -20.0, 60.0).map(|t_c| t_c + si::ICE_K)
}

fn gauge_in_range(gauge: Pressure) -> Result<f64> {
    within("the gauge pressure", gauge.value / 1e5, "bar", 0.0, 300.0).map(|bar| bar * 1e5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn pressure_and_content_are_each_others_inverse() {
        for gas in [Gas::Argon, Gas::Nitrogen, Gas::Helium] {
            let cylinder = Cylinder::new(gas, units::volume("10 L").unwrap()).unwrap();
            let (gauge, cold) = (units::pressure("165 bar").unwrap(), units::temperature("18 C").unwrap());
            let amount = cylinder.contents(gauge, cold).unwrap().amount;
            let back = cylinder.gauge(amount, cold).unwrap();
            assert!((back.value / gauge.value - 1.0).abs() < 1e-9, "{gas:?}");
        }
    }

    #[test]
    fn helium_under_pressure_is_less_than_ideal() {
        // Helium at 20 °C: second virial coefficient about +11.9 cm³/mol (published values 11.8 to 12, from memory), so
        // that 150 bar makes Z about 1 + 11.9e-6 × 151e5 / (R T) = 1.07.
        let cylinder = Cylinder::new(Gas::Helium, units::volume("10 L").unwrap()).unwrap();
        let held = cylinder.contents(units::pressure("150 bar").unwrap(), units::temperature("20 C").unwrap()).unwrap();
        assert!((held.compressibility.value - 1.07).abs() < 0.01, "{}", held.compressibility.value);
    }

    #[test]
    fn a_cylinder_known_by_its_contents_holds_them() {
        let (contents, filled) = (units::volume("2 m3").unwrap(), units::pressure("150 bar").unwrap());
        let cylinder = Cylinder::holding(Gas::Argon, contents, filled).unwrap();
        let held = cylinder.contents(filled, Reference::TWENTY_ONE.temperature()).unwrap();
        assert!((held.standard_volume.value / contents.value - 1.0).abs() < 1e-9);
        assert!(Cylinder::holding(Gas::Argon, contents, units::pressure("0 bar").unwrap()).is_err());
    }

    #[test]
    fn a_cylinder_of_air_has_no_equation() {
        assert!(Cylinder::new(Gas::Air, units::volume("10 L").unwrap()).is_err());
    }
}
