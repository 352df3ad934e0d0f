//! The chamber itself after its heat was cut: a closed furnace that falls from heat at the rate that the plan gives, in its slow time
//! constant alone.

use hearthward_equipment::GasFlow;
use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_process::chamber::Chamber;
use hearthward_process::furnace::Furnace;
use hearthward_process::purge::makeup_flow;
use hearthward_process::units::Ramp;
use uom::si::f64::{TemperatureInterval, Time};
use uom::si::temperature_interval::kelvin;
use uom::si::time::second;

use super::At;
use crate::gas::flow_by_evidence;
use crate::plan::FurnacePlan;

/// The heat that the plan's rate of falling is given for (assumed: where most tool steels are hardened from).
const AT_HEAT_C: f64 = 800.0;
/// The room around it, in °C (assumed).
const ROOM_C: f64 = 21.0;

/// The furnace as the plan knows it; what the physics refuses is not known.
fn furnace(plan: &FurnacePlan) -> Option<Furnace> {
    let fall = Ramp { rise: TemperatureInterval::new::<kelvin>(plan.falls_k_per_s), within: Time::new::<second>(1.0) };
    Furnace::of_holding(plan.power, fall, celsius(AT_HEAT_C), celsius(ROOM_C)).ok()
}

/// Where it is likely to be so long after a cut, in °C.
pub(crate) fn falls_to_c(plan: &FurnacePlan, from_c: f64, after_s: f64) -> Option<f64> {
    furnace(plan)?.falls_to(celsius(from_c), Time::new::<second>(after_s)).ok().map(in_celsius)
}

/// The flow that would make up for the gas that shrinks while the chamber cools from here, where less than that is known to flow in: the
/// rest is air.
pub(super) fn draws(at: &At<'_>, from_c: f64) -> Option<GasFlow> {
    let gas = at.plan.gas.as_ref()?;
    let falls_k = at.plan.falls_k_per_s * (from_c - ROOM_C) / (AT_HEAT_C - ROOM_C);
    let cooling = Ramp { rise: TemperatureInterval::new::<kelvin>(-falls_k), within: Time::new::<second>(1.0) };
    let needed = makeup_flow(&Chamber::tight(at.plan.chamber.volume).ok()?, celsius(from_c), cooling).ok()?;
    let flow = flow_by_evidence(gas, at.facts, at.purge.by_eye);
    (!(flow >= needed.value)).then_some(needed)
}

/// How long it takes to fall from one temperature to another, in milliseconds.
pub(super) fn falls_ms(plan: &FurnacePlan, from_c: f64, to_c: f64) -> Option<u64> {
    let time = furnace(plan)?.cools(celsius(from_c), celsius(to_c)).ok()?;
    Some(libm::ceil(time.value * 1000.0) as u64)
}
