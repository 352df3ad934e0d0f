//! From words to the readings of each face, and from commands to writes.

use hearthward_driver::{
    Fault, Flag, FlowReading, FurnaceReading, GasFlow, HeatCommand, Number, Point, Quality, TankCommand, TankReading, Value,
    quantity, reading,
};

use crate::link::Image;
use crate::unit::{UnitPlan, Write, furnace, meter, tank};

const ZERO_C_IN_K: f64 = 273.15;

/// The reading of a furnace.
pub(crate) fn furnace(unit: &UnitPlan, image: &Image) -> FurnaceReading {
    let program = unit.fields[furnace::PROGRAM].map(|entry| point(unit, image, entry));
    FurnaceReading {
        temperature_c: number(unit, image, furnace::TEMPERATURE),
        set_point_c: number(unit, image, furnace::SET_POINT),
        output_share: number(unit, image, furnace::OUTPUT_SHARE),
        heat_on: flag(unit, image, furnace::HEAT_ON),
        door_open: flag(unit, image, furnace::DOOR_OPEN),
        over_temperature: flag(unit, image, furnace::OVER_TEMPERATURE),
        points: program.into_iter().chain(points(unit, image)).collect(),
    }
}

/// The writes of a heat command: its own register, then what starts the controller.
pub(crate) fn heat(unit: &UnitPlan, command: &HeatCommand) -> Result<Vec<Write>, Fault> {
    let (field, value) = match command {
        HeatCommand::SetPointC(set_point_c) => (furnace::SET_POINT, Value::Number(*set_point_c)),
        HeatCommand::OutputShare(share) => (furnace::OUTPUT_SHARE, Value::Number(*share)),
        HeatCommand::RunProgram(program) => (furnace::PROGRAM, Value::Whole(i64::from(*program))),
    };
    let first = unit.write_to(unit.writable(field)?, &value)?;
    Ok(std::iter::once(first).chain(unit.start.iter().cloned()).collect())
}

/// The reading of a flow meter.
pub(crate) fn flow(unit: &UnitPlan, image: &Image) -> FlowReading {
    let (reference_temperature_c, reference_pressure_kpa) = unit.reference;
    let gas =
        |standard_litres_per_minute| GasFlow { standard_litres_per_minute, reference_temperature_c, reference_pressure_kpa };
    FlowReading {
        flow: number(unit, image, meter::FLOW).map(gas),
        set_flow: number(unit, image, meter::SET_FLOW).map(gas),
        pressure_kpa: number(unit, image, meter::PRESSURE),
        temperature_c: number(unit, image, meter::TEMPERATURE),
        points: points(unit, image),
    }
}

/// The write of a flow. The amount of gas is kept: an ideal gas brought from the command's reference to the device's.
pub(crate) fn set_flow(unit: &UnitPlan, flow: &GasFlow) -> Result<Vec<Write>, Fault> {
    let (own_c, own_kpa) = unit.reference;
    let pressures = flow.reference_pressure_kpa / own_kpa;
    let temperatures = (own_c + ZERO_C_IN_K) / (flow.reference_temperature_c + ZERO_C_IN_K);
    let own_l_min = flow.standard_litres_per_minute.value * pressures * temperatures;
    Ok(vec![unit.write_to(unit.writable(meter::SET_FLOW)?, &Value::Number(own_l_min))?])
}

/// The reading of a tank.
pub(crate) fn tank(unit: &UnitPlan, image: &Image) -> TankReading {
    let set_point = unit.fields[tank::SET_POINT].map(|entry| point(unit, image, entry));
    TankReading {
        temperature_c: number(unit, image, tank::TEMPERATURE),
        level_share: number(unit, image, tank::LEVEL),
        agitation_on: flag(unit, image, tank::AGITATION),
        heater_on: flag(unit, image, tank::HEATER),
        points: set_point.into_iter().chain(points(unit, image)).collect(),
    }
}

/// The writes of a tank's command.
pub(crate) fn tank_write(unit: &UnitPlan, command: &TankCommand) -> Result<Vec<Write>, Fault> {
    let write = |field: usize, value: Value| unit.write_to(unit.writable(field)?, &value);
    match command {
        TankCommand::Agitate(on) => Ok(vec![write(tank::AGITATION, Value::Flag(*on))?]),
        TankCommand::HeatToC(bath_c) => {
            let mut writes = vec![write(tank::SET_POINT, Value::Number(*bath_c))?];
            // A tank whose thermostat follows its set point needs no switch.
            if unit.writable(tank::HEATER).is_ok() {
                writes.push(write(tank::HEATER, Value::Flag(true))?);
            }
            Ok(writes)
        }
        TankCommand::HeaterOff => Ok(vec![write(tank::HEATER, Value::Flag(false))?]),
    }
}

/// All points that the unit's own face has no field for.
pub(crate) fn points(unit: &UnitPlan, image: &Image) -> Vec<Point> {
    unit.extras.iter().map(|&entry| point(unit, image, entry)).collect()
}

/// One entry as a point.
pub(crate) fn point(unit: &UnitPlan, image: &Image, entry: usize) -> Point {
    let described = &unit.entries[entry];
    let (value, quality) = match image.words(unit, entry) {
        Some(words) => described.decode(words),
        None => (nothing(described.quantity.kind), Quality::Bad),
    };
    reading::point(&described.shown, described.quantity.word, value, quality)
}

fn number(unit: &UnitPlan, image: &Image, field: usize) -> Option<Number> {
    let entry = unit.fields[field]?;
    let decoded = image.words(unit, entry).map(|words| unit.entries[entry].decode(words));
    Some(match decoded {
        Some((Value::Number(value), quality)) => reading::number_of(value, quality),
        _ => reading::bad_number(),
    })
}

fn flag(unit: &UnitPlan, image: &Image, field: usize) -> Option<Flag> {
    let entry = unit.fields[field]?;
    let decoded = image.words(unit, entry).map(|words| unit.entries[entry].decode(words));
    Some(match decoded {
        Some((Value::Flag(value), quality)) => Flag { value, quality },
        _ => Flag { value: false, quality: Quality::Bad },
    })
}

fn nothing(kind: quantity::Kind) -> Value {
    match kind {
        quantity::Kind::Flag => Value::Flag(false),
        quantity::Kind::Number => Value::Number(0.0),
        quantity::Kind::Whole => Value::Whole(0),
        quantity::Kind::Text => Value::Text(String::new()),
    }
}
