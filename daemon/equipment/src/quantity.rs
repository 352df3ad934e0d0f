//! The quantities that cross rooms, and how they become bare numbers at the edges.

use uom::si::catalytic_activity::mole_per_second;
use uom::si::f64::{CatalyticActivity, TemperatureInterval, ThermodynamicTemperature};
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::degree_celsius;

/// A temperature on the absolute scale.
pub type Temperature = ThermodynamicTemperature;

/// A difference of two temperatures.
pub type TemperatureStep = TemperatureInterval;

/// A flow of gas as an amount: moles a second. What a meter shows becomes an amount through its reference conditions, at the border.
pub type GasFlow = CatalyticActivity;

/// The molar gas constant in J/(mol·K), exact by the SI's definition of 2019.
pub const GAS_CONSTANT_J_PER_MOL_K: f64 = 8.314_462_618_153_24;

/// A temperature from degrees Celsius.
#[must_use]
pub fn celsius(value_c: f64) -> Temperature {
    Temperature::new::<degree_celsius>(value_c)
}

/// Degrees Celsius of a temperature.
#[must_use]
pub fn in_celsius(value: Temperature) -> f64 {
    value.get::<degree_celsius>()
}

/// A difference of temperatures from kelvins.
#[must_use]
pub fn kelvins(value_k: f64) -> TemperatureStep {
    TemperatureStep::new::<kelvin_step>(value_k)
}

/// Kelvins of a difference of temperatures.
#[must_use]
pub fn in_kelvins(value: TemperatureStep) -> f64 {
    value.get::<kelvin_step>()
}

/// Moles in one litre of an ideal gas at the given reference conditions.
#[must_use]
pub fn moles_per_litre(reference_c: f64, reference_kpa: f64) -> f64 {
    reference_kpa / (GAS_CONSTANT_J_PER_MOL_K * (reference_c + 273.15))
}

/// A flow from litres a minute *at the stated reference conditions* (ideal gas).
#[must_use]
pub fn gas_flow(litres_per_minute: f64, reference_c: f64, reference_kpa: f64) -> GasFlow {
    GasFlow::new::<mole_per_second>(litres_per_minute / 60.0 * moles_per_litre(reference_c, reference_kpa))
}

/// Litres a minute *at the stated reference conditions* of a flow (ideal gas).
#[must_use]
pub fn in_litres_per_minute(flow: GasFlow, reference_c: f64, reference_kpa: f64) -> f64 {
    flow.get::<mole_per_second>() * 60.0 / moles_per_litre(reference_c, reference_kpa)
}

/// The reference temperature of flows that the service shows and takes where none is stated, in °C (70 °F, common with shop cylinders; common practice, no source).
pub const SHOWN_REFERENCE_C: f64 = 21.1;

/// The reference pressure of flows that the service shows, in kPa: one standard atmosphere.
pub const SHOWN_REFERENCE_KPA: f64 = 101.325;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_litre_at_zero_celsius_holds_the_published_amount() {
        // Molar volume of an ideal gas at 273.15 K, 101.325 kPa: 22.413 969 54 L/mol (CODATA 2018).
        assert!((1.0 / moles_per_litre(0.0, 101.325) - 22.413_969_54).abs() < 1e-6);
    }

    #[test]
    fn flows_round_trip_through_other_references() {
        let flow = gas_flow(8.0, 21.1, 101.325);
        assert!((in_litres_per_minute(flow, 21.1, 101.325) - 8.0).abs() < 1e-12);
        let colder = in_litres_per_minute(flow, 0.0, 101.325);
        assert!((colder - 8.0 * 273.15 / 294.25).abs() < 1e-9);
    }
}
