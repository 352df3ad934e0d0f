//! What is known of a unit, as the reading of its face.

use hearthward_driver::{Flag, FlowReading, FurnaceReading, GasFlow, Number, Point, TankReading, Value};

use crate::kept::{Face, Kept};

/// Reference conditions at which flows are entered, asked for and shown: those of the service's own entries.
const REFERENCE_C: f64 = 21.1;
const REFERENCE_KPA: f64 = 101.325;
const ZERO_C_IN_K: f64 = 273.15;

/// Litres a minute at the reference conditions of this driver: an ideal gas keeps its amount.
pub(crate) fn own_l_min(flow: &GasFlow) -> f64 {
    let temperatures = (REFERENCE_C + ZERO_C_IN_K) / (flow.reference_temperature_c + ZERO_C_IN_K);
    flow.standard_litres_per_minute.value * flow.reference_pressure_kpa / REFERENCE_KPA * temperatures
}

/// The reading of a furnace. A value that was never entered is left out.
pub(crate) fn furnace(unit: &Kept, now_ms: u64) -> FurnaceReading {
    FurnaceReading {
        temperature_c: number(unit, "temperature", now_ms),
        set_point_c: number(unit, "set-point", now_ms),
        output_share: number(unit, "output-share", now_ms),
        heat_on: flag(unit, "heat-on", now_ms),
        door_open: flag(unit, "door-open", now_ms),
        over_temperature: flag(unit, "over-temperature", now_ms),
        points: extras(unit, now_ms),
    }
}

/// The reading of a meter.
pub(crate) fn flow(unit: &Kept, now_ms: u64) -> FlowReading {
    let gas = |standard_litres_per_minute| GasFlow {
        standard_litres_per_minute,
        reference_temperature_c: REFERENCE_C,
        reference_pressure_kpa: REFERENCE_KPA,
    };
    FlowReading {
        flow: number(unit, "flow", now_ms).map(gas),
        set_flow: None,
        pressure_kpa: number(unit, "pressure", now_ms),
        temperature_c: number(unit, "gas-temperature", now_ms),
        points: extras(unit, now_ms),
    }
}

/// The reading of a tank.
pub(crate) fn tank(unit: &Kept, now_ms: u64) -> TankReading {
    TankReading {
        temperature_c: number(unit, "temperature", now_ms),
        level_share: number(unit, "level-share", now_ms),
        agitation_on: flag(unit, "agitation-on", now_ms),
        heater_on: flag(unit, "heater-on", now_ms),
        points: extras(unit, now_ms),
    }
}

/// Everything of a unit as points.
pub(crate) fn all_points(unit: &Kept, now_ms: u64) -> Vec<Point> {
    let asked = (unit.face != Face::Points).then(|| unit.asked());
    unit.slots.iter().map(|slot| slot.point(now_ms)).chain(asked).collect()
}

/// What the unit's own record has no field for.
fn extras(unit: &Kept, now_ms: u64) -> Vec<Point> {
    let is_field = |name: &str| unit.face.fields().iter().any(|(field, ..)| *field == name);
    let extra = unit.slots.iter().filter(|slot| !is_field(&slot.name)).map(|slot| slot.point(now_ms));
    extra.chain([unit.asked()]).collect()
}

fn number(unit: &Kept, name: &str, now_ms: u64) -> Option<Number> {
    match unit.slot(name)?.aged(now_ms)? {
        (Value::Number(value), quality) => Some(Number { value: *value, quality }),
        _ => None,
    }
}

fn flag(unit: &Kept, name: &str, now_ms: u64) -> Option<Flag> {
    match unit.slot(name)?.aged(now_ms)? {
        (Value::Flag(value), quality) => Some(Flag { value: *value, quality }),
        _ => None,
    }
}
