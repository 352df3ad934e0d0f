//! Heat in steel: specific heat, enthalpy and conductivity, from EN 1993-1-2:2005, 3.4.1 (carbon steel).
//!
//! On heating, the curve peaks at 5000 J/(kg K) at 735 °C, where pearlite turns into austenite. Austenite that cools too
//! fast to turn back does not give that heat up: between furnace and bath take [`HeatCapacity::Austenite`], 650 J/(kg K),
//! the curve's own value above 900 °C. Alloy steels differ by some 5 to 10 %.

use crate::error::{Result, within};
use crate::si;
use uom::si::available_energy::joule_per_kilogram;
use uom::si::f64::{AvailableEnergy, SpecificHeatCapacity, ThermalConductivity, ThermodynamicTemperature};
use uom::si::specific_heat_capacity::joule_per_kilogram_kelvin;
use uom::si::thermal_conductivity::watt_per_meter_kelvin;

/// Which heat capacity a piece of steel shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum HeatCapacity {
    /// The heating curve of EN 1993-1-2, with its transformation peak at 735 °C.
    #[default]
    Heating,
    /// Austenite that does not transform: 650 J/(kg K) throughout.
    Austenite,
}

/// Specific heat of carbon steel on heating.
///
/// # Errors
/// A temperature outside 20 to 1200 °C, where the standard ends.
pub fn specific_heat(temperature: ThermodynamicTemperature) -> Result<SpecificHeatCapacity> {
    in_range(temperature).map(|t_c| SpecificHeatCapacity::new::<joule_per_kilogram_kelvin>(heat_j_kg_k(t_c)))
}

/// Thermal conductivity of carbon steel; 27.3 W/(m K) from 800 °C up, which is also austenite's.
///
/// # Errors
/// A temperature outside 20 to 1200 °C.
pub fn conductivity(temperature: ThermodynamicTemperature) -> Result<ThermalConductivity> {
    in_range(temperature).map(|t_c| ThermalConductivity::new::<watt_per_meter_kelvin>(conductivity_w_m_k(t_c)))
}

/// Heat in a kilogram of carbon steel over 20 °C, by the closed integral of the heating curve.
///
/// # Errors
/// A temperature outside 20 to 1200 °C.
pub fn enthalpy(temperature: ThermodynamicTemperature) -> Result<AvailableEnergy> {
    in_range(temperature).map(|t_c| AvailableEnergy::new::<joule_per_kilogram>(enthalpy_j_kg(t_c)))
}

/// The heating curve's value, held constant outside 20 to 1200 °C.
pub(crate) fn heat_j_kg_k(t_c: f64) -> f64 {
    let t = t_c.clamp(20.0, 1200.0);
    if t < 600.0 {
        425.0 + t * (7.73e-1 + t * (-1.69e-3 + t * 2.22e-6))
    } else if t < 735.0 {
        666.0 + 13_002.0 / (738.0 - t)
    } else if t < 900.0 {
        545.0 + 17_820.0 / (t - 731.0)
    } else {
        AUSTENITE_J_KG_K
    }
}

pub(crate) fn conductivity_w_m_k(t_c: f64) -> f64 {
    if t_c < 800.0 { 54.0 - 3.33e-2 * t_c } else { 27.3 }
}

/// Closed integral from 20 °C; below it the curve's 20 °C value goes on.
pub(crate) fn enthalpy_j_kg(t_c: f64) -> f64 {
    let quartic = |t: f64| t * (425.0 + t * (7.73e-1 / 2.0 + t * (-1.69e-3 / 3.0 + t * 2.22e-6 / 4.0)));
    if t_c < 20.0 {
        return heat_j_kg_k(20.0) * (t_c - 20.0);
    }
    let mut sum = quartic(t_c.min(600.0)) - quartic(20.0);
    if t_c > 600.0 {
        let t = t_c.min(735.0);
        sum += 666.0 * (t - 600.0) - 13_002.0 * libm::log((738.0 - t) / 138.0);
    }
    if t_c > 735.0 {
        let t = t_c.min(900.0);
        sum += 545.0 * (t - 735.0) + 17_820.0 * libm::log((t - 731.0) / 4.0);
    }
    sum + AUSTENITE_J_KG_K * (t_c - 900.0).max(0.0)
}

/// Heat capacity of austenite: the standard's value from 900 °C up.
pub(crate) const AUSTENITE_J_KG_K: f64 = 650.0;

impl HeatCapacity {
    pub(crate) fn j_kg_k(self, t_c: f64) -> f64 {
        match self {
            Self::Heating => heat_j_kg_k(t_c),
            Self::Austenite => AUSTENITE_J_KG_K,
        }
    }
}

fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature of the steel", si::celsius(temperature), "°C", 20.0, 1200.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_peak_is_the_standards() {
        // EN 1993-1-2, figure 3.4 (value from memory): 5000 J/(kg K) at 735 °C.
        assert!((heat_j_kg_k(735.0) - 5000.0).abs() < 1e-9);
        // Its simple model's 600 J/(kg K) for 20 to 600 °C (from memory), within 5 %.
        assert!((enthalpy_j_kg(600.0) / 580.0 / 600.0 - 1.0).abs() < 0.05);
    }

    #[test]
    fn enthalpy_is_the_integral_of_the_curve() {
        for (from, to) in [(20.0, 600.0), (600.0, 735.0), (735.0, 900.0), (900.0, 1100.0)] {
            let sum = crate::numeric::integral(from, to, 400, heat_j_kg_k);
            assert!((sum - (enthalpy_j_kg(to) - enthalpy_j_kg(from))).abs() < 1e-6 * sum);
        }
    }
}
