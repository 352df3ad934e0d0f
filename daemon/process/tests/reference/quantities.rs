//! Short names for building quantities out of the tables' bare numbers; the last word is the unit.

use hearthward_process::AmountFlow;
use hearthward_process::flow::Reference;
use uom::si::f64::{Area, Length, Mass, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};
use uom::si::{
    area::square_centimeter, length::millimeter, mass::kilogram, pressure::bar, ratio::ratio,
    thermodynamic_temperature::degree_celsius, time::second, volume::liter, volume_rate::liter_per_minute,
};

pub(crate) fn celsius(t: f64) -> ThermodynamicTemperature {
    ThermodynamicTemperature::new::<degree_celsius>(t)
}

pub(crate) fn litres(v: f64) -> Volume {
    Volume::new::<liter>(v)
}

pub(crate) fn bars(p: f64) -> Pressure {
    Pressure::new::<bar>(p)
}

pub(crate) fn share(x: f64) -> Ratio {
    Ratio::new::<ratio>(x)
}

pub(crate) fn ppm(x: f64) -> Ratio {
    share(x * 1e-6)
}

pub(crate) fn seconds(t: f64) -> Time {
    Time::new::<second>(t)
}

pub(crate) fn minutes(t: f64) -> Time {
    seconds(t * 60.0)
}

pub(crate) fn millimetres(l: f64) -> Length {
    Length::new::<millimeter>(l)
}

pub(crate) fn square_centimetres(a: f64) -> Area {
    Area::new::<square_centimeter>(a)
}

pub(crate) fn kilograms(m: f64) -> Mass {
    Mass::new::<kilogram>(m)
}

pub(crate) fn litres_per_minute(q: f64) -> VolumeRate {
    VolumeRate::new::<liter_per_minute>(q)
}

/// Standard litres a minute: 21.1 °C and 101.325 kPa throughout the tables.
pub(crate) fn standard(q: f64) -> AmountFlow {
    Reference::TWENTY_ONE.amount_flow(litres_per_minute(q))
}

/// An amount of gas flowing, back in standard litres a minute.
pub(crate) fn to_standard(flow: AmountFlow) -> f64 {
    Reference::TWENTY_ONE.volume_flow(flow).get::<liter_per_minute>()
}
