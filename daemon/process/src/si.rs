//! Short names for the conversions between bare SI numbers and quantities that this crate's arithmetic needs.
//!
//! Formulae are worked on bare numbers in SI units (a name's last word says the unit); every public function takes and
//! returns quantities, and these are the only places where the two meet.

use uom::si::f64::{
    AmountOfSubstance, CatalyticActivity, Energy, Length, Mass, Power, Pressure, Ratio, TemperatureInterval,
    ThermodynamicTemperature, Time, Volume, VolumeRate,
};
use uom::si::{
    amount_of_substance::mole, catalytic_activity::katal, energy::joule, length::meter, mass::kilogram, power::watt,
    pressure::pascal, ratio::ratio, temperature_interval, thermodynamic_temperature as absolute, time::second,
    volume::cubic_meter, volume_rate::cubic_meter_per_second,
};

/// Kelvin of 0 °C.
pub(crate) const ICE_K: f64 = 273.15;

pub(crate) fn kelvin(t: ThermodynamicTemperature) -> f64 {
    t.get::<absolute::kelvin>()
}

pub(crate) fn celsius(t: ThermodynamicTemperature) -> f64 {
    kelvin(t) - ICE_K
}

pub(crate) fn from_kelvin(t_k: f64) -> ThermodynamicTemperature {
    ThermodynamicTemperature::new::<absolute::kelvin>(t_k)
}

pub(crate) fn from_celsius(t_c: f64) -> ThermodynamicTemperature {
    from_kelvin(t_c + ICE_K)
}

pub(crate) fn difference(d_k: f64) -> TemperatureInterval {
    TemperatureInterval::new::<temperature_interval::kelvin>(d_k)
}

pub(crate) fn difference_k(d: TemperatureInterval) -> f64 {
    d.get::<temperature_interval::kelvin>()
}

pub(crate) fn seconds(t_s: f64) -> Time {
    Time::new::<second>(t_s)
}

pub(crate) fn metres(l_m: f64) -> Length {
    Length::new::<meter>(l_m)
}

pub(crate) fn cubic_metres(v_m3: f64) -> Volume {
    Volume::new::<cubic_meter>(v_m3)
}

pub(crate) fn volume_rate(v_m3_s: f64) -> VolumeRate {
    VolumeRate::new::<cubic_meter_per_second>(v_m3_s)
}

pub(crate) fn pascals(p_pa: f64) -> Pressure {
    Pressure::new::<pascal>(p_pa)
}

pub(crate) fn moles(n_mol: f64) -> AmountOfSubstance {
    AmountOfSubstance::new::<mole>(n_mol)
}

pub(crate) fn mole_rate(f_mol_s: f64) -> CatalyticActivity {
    CatalyticActivity::new::<katal>(f_mol_s)
}

pub(crate) fn fraction(x: f64) -> Ratio {
    Ratio::new::<ratio>(x)
}

pub(crate) fn kilograms(m_kg: f64) -> Mass {
    Mass::new::<kilogram>(m_kg)
}

pub(crate) fn joules(e_j: f64) -> Energy {
    Energy::new::<joule>(e_j)
}

pub(crate) fn watts(p_w: f64) -> Power {
    Power::new::<watt>(p_w)
}
