//! What the bench shows, and what can be written to it.

use hearthward_driver::{
    Fault, Flag, FlowReading, FurnaceReading, GasFlow, Number, Point, Quality, TankReading, Unit, Value, fault, quantity, reading,
};

use crate::bench::{Bench, Which};
use crate::gas::REFERENCE_K;
use crate::supply::REFERENCE_KPA;

const ZERO_C_IN_K: f64 = 273.15;

/// Channels of noise, far enough apart for any number of units of a sort.
mod channel {
    pub(super) const FURNACE: u64 = 0;
    pub(super) const LOAD: u64 = 1 << 16;
    pub(super) const PROBE: u64 = 2 << 16;
    pub(super) const METER: u64 = 3 << 16;
    pub(super) const TANK: u64 = 4 << 16;
    pub(super) const GAUGE: u64 = 5 << 16;
    pub(super) const ROOM: u64 = 6 << 16;
}

/// The probe's noise as a share of what it shows.
const PROBE_NOISE: f64 = 0.02;
const THERMOMETER_NOISE_K: f64 = 0.05;
const GAUGE_NOISE_KPA: f64 = 5.0;
const MONITOR_NOISE: f64 = 0.0002;

/// The units as the contract lists them. Nothing here has a line, so nobody but the driver can cut: no standing cuts.
pub(crate) fn listed(bench: &Bench) -> Vec<Unit> {
    bench.units.iter().map(|(name, which)| unit(bench, name, *which)).collect()
}

fn unit(bench: &Bench, name: &str, which: Which) -> Unit {
    let (face, fields): (&str, &[&str]) = match which {
        Which::Furnace(_) => {
            ("furnace", &["temperature", "set-point", "output-share", "heat-on", "door-open", "over-temperature"])
        }
        Which::Meter(_) => ("flow-meter", &["flow", "set-flow", "pressure", "gas-temperature"]),
        Which::Tank(_) => ("quench-tank", &["temperature", "level-share", "agitation-on", "heater-on"]),
        Which::Cylinder(_) | Which::Room | Which::Contactors => ("points", &[]),
    };
    let mut unit = reading::unit(name, face, fields);
    for point in points(bench, which) {
        unit.notes.push(reading::quantity_note(&point.name, &point.quantity));
        unit.readings.push(point.name);
    }
    unit.notes.push(reading::note("evidence", "measured"));
    unit.notes.push(hearthward_driver::Named { name: "simulated".to_owned(), value: Value::Flag(true) });
    if matches!(which, Which::Furnace(_)) {
        unit.notes.extend(["set-point", "output-share", "program"].map(|way| reading::note("heats", way)));
    }
    for name in writable(bench, which) {
        if which == Which::Contactors {
            unit.notes.push(reading::note("heats", &name));
        }
        unit.notes.push(reading::note("write", &name));
        unit.notes.push(reading::note("write_often", &name));
    }
    unit
}

fn writable(bench: &Bench, which: Which) -> Vec<String> {
    let names: &[&str] = match which {
        Which::Furnace(_) => &["door", "sensor-broken", "load"],
        Which::Meter(_) => &["stuck", "blocked"],
        Which::Tank(_) => &["quench-kg", "level", "thermometer-broken"],
        Which::Cylinder(_) => &["valve-open"],
        Which::Room => &["oxygen-forced", "horn"],
        Which::Contactors => return contactors(bench).map(|(name, _)| name).collect(),
    };
    names.iter().map(|&name| name.to_owned()).collect()
}

/// Names of contactors, and the furnaces that they feed.
fn contactors(bench: &Bench) -> impl Iterator<Item = (String, usize)> {
    bench.units.iter().filter_map(|(name, which)| match which {
        Which::Furnace(index) => Some((format!("{name}-contactor"), *index)),
        _ => None,
    })
}

/// The reading of a furnace.
pub(crate) fn furnace(bench: &Bench, index: usize) -> FurnaceReading {
    let furnace = &bench.furnaces[index];
    let shown = furnace.shown_c(bench.noise, channel::FURNACE + index as u64, bench.now_ms);
    FurnaceReading {
        temperature_c: Some(shown.map_or_else(reading::bad_number, reading::number)),
        set_point_c: Some(reading::number(furnace.controller.set_point_c)),
        output_share: Some(reading::number(furnace.controller.output_share)),
        heat_on: Some(reading::flag(furnace.controller.heat_on())),
        door_open: Some(reading::flag(furnace.door_open(bench.at_s()))),
        over_temperature: Some(reading::flag(furnace.controller.over_temperature)),
        points: points(bench, Which::Furnace(index)),
    }
}

/// The reading of a meter.
pub(crate) fn flow(bench: &Bench, index: usize) -> FlowReading {
    let meter = &bench.meters[index];
    let noise = bench.noise.at(channel::METER + index as u64, bench.now_ms);
    let true_l_min = meter.flow_l_min * (1.0 + meter.noise_share * noise);
    FlowReading {
        flow: Some(gas_flow(meter.stuck_at_l_min.unwrap_or(true_l_min))),
        set_flow: meter.settable.then(|| gas_flow(meter.set_l_min)),
        pressure_kpa: Some(reading::number(REFERENCE_KPA)),
        temperature_c: Some(reading::number(bench.room.temperature_c)),
        points: points(bench, Which::Meter(index)),
    }
}

/// Litres a minute at the bench's own reference conditions.
pub(crate) fn own_l_min(flow: &GasFlow) -> f64 {
    let temperatures = REFERENCE_K / (flow.reference_temperature_c + ZERO_C_IN_K);
    flow.standard_litres_per_minute.value * flow.reference_pressure_kpa / REFERENCE_KPA * temperatures
}

/// The reading of a tank.
pub(crate) fn tank(bench: &Bench, index: usize) -> TankReading {
    let tank = &bench.tanks[index];
    let noise = THERMOMETER_NOISE_K * bench.noise.at(channel::TANK + index as u64, bench.now_ms);
    let bath: Number = if tank.thermometer_broken { reading::bad_number() } else { reading::number(tenths(tank.bath_c + noise)) };
    TankReading {
        temperature_c: Some(bath),
        level_share: Some(reading::number(tank.level_share)),
        agitation_on: Some(reading::flag(tank.agitation_on)),
        heater_on: Some(Flag { value: tank.heat_to_c.is_some(), quality: Quality::Good }),
        points: points(bench, Which::Tank(index)),
    }
}

/// The points of a unit.
pub(crate) fn points(bench: &Bench, which: Which) -> Vec<Point> {
    let noise = |channel: u64, index: usize| bench.noise.at(channel + index as u64, bench.now_ms);
    match which {
        Which::Furnace(index) => furnace_points(bench, index),
        Which::Meter(index) => {
            let meter = &bench.meters[index];
            vec![state("stuck", meter.stuck_at_l_min.is_some()), state("blocked", meter.blocked)]
        }
        Which::Tank(index) => {
            let tank = &bench.tanks[index];
            let mut points = vec![
                number("quench-kg", quantity::MASS_KG.word, tank.steel_kg),
                number("steel-temperature", quantity::TEMPERATURE_C.word, tank.steel_c),
                number("level", quantity::SHARE.word, tank.level_share),
                state("thermometer-broken", tank.thermometer_broken),
            ];
            points.extend(tank.heat_to_c.map(|goal_c| number("heat-to", quantity::TEMPERATURE_C.word, goal_c)));
            points
        }
        Which::Cylinder(index) => {
            let cylinder = &bench.cylinders[index];
            let shown_kpa = cylinder.pressure_kpa + GAUGE_NOISE_KPA * noise(channel::GAUGE, index);
            vec![
                number("pressure", quantity::PRESSURE_KPA.word, shown_kpa.max(0.0)),
                number("flow", quantity::FLOW_STANDARD_L_MIN.word, cylinder.flow_l_min),
                state("valve-open", cylinder.valve_open),
            ]
        }
        Which::Room => {
            let monitor = bench.room.forced_oxygen.unwrap_or(bench.room.oxygen + MONITOR_NOISE * noise(channel::ROOM, 0));
            vec![
                number("oxygen", quantity::VOLUME_FRACTION.word, monitor),
                number("temperature", quantity::TEMPERATURE_C.word, bench.room.temperature_c),
                number("oxygen-forced", quantity::VOLUME_FRACTION.word, bench.room.forced_oxygen.unwrap_or(0.0)),
                state("horn", bench.room.horn),
            ]
        }
        Which::Contactors => {
            contactors(bench).map(|(name, index)| state(&name, bench.furnaces[index].contactor_closed)).collect()
        }
    }
}

fn furnace_points(bench: &Bench, index: usize) -> Vec<Point> {
    let furnace = &bench.furnaces[index];
    let noise = |channel: u64| bench.noise.at(channel + index as u64, bench.now_ms);
    let (program, segment) = furnace.controller.running();
    let load_c = furnace.work_c + furnace.build.sensor_noise_k * noise(channel::LOAD);
    let code = |name: &str, code: i64| reading::point(name, quantity::CODE.word, Value::Whole(code), Quality::Good);
    vec![
        number("oxygen", quantity::VOLUME_FRACTION.word, furnace.gas.oxygen * (1.0 + PROBE_NOISE * noise(channel::PROBE))),
        number("load-temperature", quantity::TEMPERATURE_C.word, tenths(load_c)),
        number("load", quantity::MASS_KG.word, furnace.load_kg),
        number("power", quantity::POWER_KW.word, furnace.power_kw),
        state("door", furnace.door_open(bench.at_s())),
        state("sensor-broken", furnace.sensor_broken),
        code("program", program),
        code("segment", segment),
    ]
}

/// Writes a point.
pub(crate) fn write(bench: &mut Bench, which: Which, name: &str, value: &Value) -> Result<(), Fault> {
    match (which, name) {
        (Which::Furnace(index), "door") => bench.furnaces[index].door_held_open = flag(name, value)?,
        (Which::Furnace(index), "sensor-broken") => bench.furnaces[index].sensor_broken = flag(name, value)?,
        (Which::Furnace(index), "load") => {
            let load_kg = within(name, value, 0.0, 500.0)?;
            bench.furnaces[index].charge(load_kg, bench.room.temperature_c);
        }
        (Which::Meter(index), "stuck") => {
            let shown = flow(bench, index).flow.map(|flow| flow.standard_litres_per_minute.value);
            bench.meters[index].stuck_at_l_min = if flag(name, value)? { shown } else { None };
        }
        (Which::Meter(index), "blocked") => bench.meters[index].blocked = flag(name, value)?,
        (Which::Tank(index), "level") => bench.tanks[index].level_share = within(name, value, 0.0, 1.5)?,
        (Which::Tank(index), "thermometer-broken") => bench.tanks[index].thermometer_broken = flag(name, value)?,
        (Which::Tank(index), "quench-kg") => {
            let steel_kg = within(name, value, 0.0, 500.0)?;
            bench.quench(index, steel_kg, hottest(bench));
        }
        (Which::Cylinder(index), "valve-open") => bench.cylinders[index].valve_open = flag(name, value)?,
        (Which::Room, "horn") => bench.room.horn = flag(name, value)?,
        (Which::Room, "oxygen-forced") => {
            let oxygen = within(name, value, 0.0, 1.0)?;
            bench.room.forced_oxygen = (oxygen > 0.0).then_some(oxygen);
        }
        (Which::Contactors, _) => {
            let found = contactors(bench).find(|(contactor, _)| contactor == name);
            let (_, index) = found.ok_or_else(|| fault::not_supported(format!("there is no contactor {name}")))?;
            bench.furnaces[index].write_contactor(flag(name, value)?);
        }
        _ if points(bench, which).iter().any(|point| point.name == name) => {
            return Err(fault::not_allowed(format!("{name} is only read")));
        }
        _ => return Err(fault::not_supported(format!("there is no point {name}"))),
    }
    Ok(())
}

/// The furnace that a quenched part comes from: the hottest that has a load, or simply the hottest.
fn hottest(bench: &Bench) -> usize {
    let rank = |&(_, furnace): &(usize, &crate::furnace::Furnace)| (furnace.load_kg > 0.0, furnace.work_c);
    let furnaces = bench.furnaces.iter().enumerate();
    let best = furnaces.max_by(|one, other| {
        let (one, other) = (rank(one), rank(other));
        one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))
    });
    best.map_or(0, |(index, _)| index)
}

fn gas_flow(l_min: f64) -> GasFlow {
    reading::flow(l_min, REFERENCE_K - ZERO_C_IN_K, REFERENCE_KPA)
}

fn state(name: &str, on: bool) -> Point {
    reading::point(name, quantity::STATE.word, Value::Flag(on), Quality::Good)
}

fn number(name: &str, quantity: &str, value: f64) -> Point {
    reading::point(name, quantity, Value::Number(value), Quality::Good)
}

fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn flag(name: &str, value: &Value) -> Result<bool, Fault> {
    match value {
        Value::Flag(on) => Ok(*on),
        _ => Err(fault::not_allowed(format!("{name} is true or false"))),
    }
}

/// A number that must lie in a range.
pub(crate) fn within(name: &str, value: &Value, least: f64, most: f64) -> Result<f64, Fault> {
    let number = reading::as_number(value).filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| fault::not_allowed(format!("{name} is a number from {least} to {most}")))
}
