//! Driver for a bench that exists only as physics: furnaces with their gas, flow meters on a cylinder, a quench tank, a room.
//!
//! It speaks every face, so that a shop can be tried, shown and tested without a wire. Nothing happens between two calls: each
//! one first moves the bench on to the shop's present time, in short steps, with noise that depends on seed and time alone.
//! The physics is plain and honest enough to be instructive, not a model of anyone's furnace.

mod bench;
mod build;
mod controller;
mod faces;
mod furnace;
mod gas;
mod noise;
mod supply;
mod tank;

#[cfg(test)]
mod tests;

use hearthward_driver::{
    Clock, Description, Driver, Fault, FlowMeter, FlowReading, Furnace, FurnaceReading, GasFlow, HeatCommand, Host, Identify,
    Named, Point, Points, Problem, QuenchTank, Settings, TankCommand, TankReading, Unit, Value, fault, reading,
};

use crate::bench::{Bench, Which};
use crate::faces::within;

/// The driver on any clock; [`Host`] in a sandbox, a settable one in tests.
#[derive(Debug)]
pub struct Simulated<C> {
    clock: C,
    bench: Bench,
}

/// Hottest set point that is taken, degrees Celsius.
const SET_POINT_C_MAX: f64 = 1300.0;
/// Hottest bath that is taken, degrees Celsius: oils end below.
const BATH_C_MAX: f64 = 250.0;

impl<C: Clock> Simulated<C> {
    /// The bench at the present time, and what the unit is.
    fn look(&mut self, unit: usize) -> Result<(&mut Bench, Which), Fault> {
        self.bench.advance(self.clock.now_ms());
        let which = self.bench.units.get(unit).map(|(_, which)| *which).ok_or_else(|| fault::no_unit(unit))?;
        Ok((&mut self.bench, which))
    }

    fn furnace(&mut self, unit: usize) -> Result<(&mut Bench, usize), Fault> {
        match self.look(unit)? {
            (bench, Which::Furnace(index)) => Ok((bench, index)),
            _ => Err(fault::not_supported(format!("unit {unit} is no furnace"))),
        }
    }

    fn meter(&mut self, unit: usize) -> Result<(&mut Bench, usize), Fault> {
        match self.look(unit)? {
            (bench, Which::Meter(index)) => Ok((bench, index)),
            _ => Err(fault::not_supported(format!("unit {unit} is no flow meter"))),
        }
    }

    fn tank(&mut self, unit: usize) -> Result<(&mut Bench, usize), Fault> {
        match self.look(unit)? {
            (bench, Which::Tank(index)) => Ok((bench, index)),
            _ => Err(fault::not_supported(format!("unit {unit} is no quench tank"))),
        }
    }
}

impl<C: Clock + Default + 'static> Driver for Simulated<C> {
    fn describe() -> Description {
        let simulated = Named { name: "simulated".to_owned(), value: Value::Flag(true) };
        Description { notes: vec![simulated], ..reading::description("simulated-bench", env!("CARGO_PKG_VERSION")) }
    }

    fn build(settings: &Settings, _lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>> {
        let bench = build::read(settings)?;
        let units = faces::listed(&bench);
        Ok((Self { clock: C::default(), bench }, units))
    }
}

impl<C: Clock + Default + 'static> Furnace for Simulated<C> {
    fn read(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (bench, index) = self.furnace(unit)?;
        Ok(faces::furnace(bench, index))
    }

    fn heat(&mut self, unit: usize, command: HeatCommand) -> Result<FurnaceReading, Fault> {
        let (bench, index) = self.furnace(unit)?;
        let furnace = &mut bench.furnaces[index];
        match command {
            HeatCommand::SetPointC(set_point_c) => {
                furnace.controller.hold(within("set-point", &Value::Number(set_point_c), 0.0, SET_POINT_C_MAX)?);
            }
            HeatCommand::OutputShare(share) => {
                furnace.controller.give(within("output-share", &Value::Number(share), 0.0, 1.0)?);
            }
            HeatCommand::RunProgram(1) => furnace.controller.run_program(furnace.chamber_c),
            HeatCommand::RunProgram(other) => {
                return Err(fault::not_supported(format!("there is program 1 only, not {other}")));
            }
        }
        Ok(faces::furnace(bench, index))
    }

    fn cut(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (bench, index) = self.furnace(unit)?;
        bench.furnaces[index].controller.cut();
        Ok(faces::furnace(bench, index))
    }
}

impl<C: Clock + Default + 'static> FlowMeter for Simulated<C> {
    fn read(&mut self, unit: usize) -> Result<FlowReading, Fault> {
        let (bench, index) = self.meter(unit)?;
        Ok(faces::flow(bench, index))
    }

    fn set_flow(&mut self, unit: usize, flow: GasFlow) -> Result<FlowReading, Fault> {
        let (bench, index) = self.meter(unit)?;
        if !bench.meters[index].settable {
            return Err(fault::not_supported("this meter only shows its flow"));
        }
        let most = bench.meters[index].most_l_min;
        bench.meters[index].set_l_min = within("flow", &Value::Number(faces::own_l_min(&flow)), 0.0, most)?;
        Ok(faces::flow(bench, index))
    }
}

impl<C: Clock + Default + 'static> QuenchTank for Simulated<C> {
    fn read(&mut self, unit: usize) -> Result<TankReading, Fault> {
        let (bench, index) = self.tank(unit)?;
        Ok(faces::tank(bench, index))
    }

    fn write(&mut self, unit: usize, command: TankCommand) -> Result<TankReading, Fault> {
        let (bench, index) = self.tank(unit)?;
        let tank = &mut bench.tanks[index];
        match command {
            TankCommand::Agitate(on) => tank.agitation_on = on,
            TankCommand::HeatToC(bath_c) => {
                tank.heat_to_c = Some(within("heat-to", &Value::Number(bath_c), 0.0, BATH_C_MAX)?);
            }
            TankCommand::HeaterOff => (tank.heat_to_c, tank.heater_on) = (None, false),
        }
        Ok(faces::tank(bench, index))
    }
}

impl<C: Clock + Default + 'static> Points for Simulated<C> {
    fn read(&mut self, unit: usize) -> Result<Vec<Point>, Fault> {
        let (bench, which) = self.look(unit)?;
        Ok(faces::points(bench, which))
    }

    fn write(&mut self, unit: usize, name: &str, value: Value) -> Result<Point, Fault> {
        let (bench, which) = self.look(unit)?;
        let name = name.replace('_', "-");
        faces::write(bench, which, &name, &value)?;
        let written = faces::points(bench, which).into_iter().find(|point| point.name == name);
        written.ok_or_else(|| fault::not_supported(format!("there is no point {name}")))
    }
}

impl<C: Clock + Default + 'static> Identify for Simulated<C> {
    fn identify(&mut self, unit: usize) -> Result<String, Fault> {
        self.look(unit)?;
        Ok("a simulated unit: there is nothing to look at".to_owned())
    }
}

hearthward_driver::export!(Simulated<Host>: furnace, flow_meter, quench_tank, points, identify);
