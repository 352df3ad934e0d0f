//! Driver for equipment without a port: what a person reads is entered, what is to be set is asked for.
//!
//! A value is entered by writing the point of its name; from then on it ages, and a read says how far it may still be relied
//! upon. A command cannot be carried out by anyone but a person: it is remembered as what is asked, and shown in the point
//! `asked` until an entered value answers it. Nobody can cut by wire here, so there are no standing cuts.

mod build;
mod faces;
mod kept;

#[cfg(test)]
mod tests;

use hearthward_driver::{
    Clock, Description, Driver, Fault, FlowMeter, FlowReading, Furnace, FurnaceReading, GasFlow, HeatCommand, Host, Point,
    Points, Problem, QuenchTank, Settings, TankCommand, TankReading, Unit, Value, fault, reading,
};

use crate::faces::own_l_min;
use crate::kept::{Ask, Face, Kept};

/// The driver on any clock; [`Host`] in a sandbox, a settable one in tests.
#[derive(Debug)]
pub struct HandKept<C> {
    clock: C,
    units: Vec<Kept>,
}

impl<C: Clock> HandKept<C> {
    /// The unit, if it is one of this face, and the present time.
    fn unit(&mut self, index: usize, face: Face) -> Result<(&mut Kept, u64), Fault> {
        let (unit, now_ms) = self.any(index)?;
        if unit.face == face {
            Ok((unit, now_ms))
        } else {
            Err(fault::not_supported(format!("{} is no {}", unit.name, face.word())))
        }
    }

    fn any(&mut self, index: usize) -> Result<(&mut Kept, u64), Fault> {
        let now_ms = self.clock.now_ms();
        self.units.get_mut(index).map(|unit| (unit, now_ms)).ok_or_else(|| fault::no_unit(index))
    }
}

impl<C: Clock + Default + 'static> Driver for HandKept<C> {
    fn describe() -> Description {
        reading::description("hand-kept", env!("CARGO_PKG_VERSION"))
    }

    fn build(settings: &Settings, _lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>> {
        let units = build::read(settings)?;
        let listed = units.iter().map(Kept::listed).collect();
        Ok((Self { clock: C::default(), units }, listed))
    }
}

impl<C: Clock + Default + 'static> Furnace for HandKept<C> {
    fn read(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::Furnace)?;
        Ok(faces::furnace(unit, now_ms))
    }

    fn heat(&mut self, unit: usize, command: HeatCommand) -> Result<FurnaceReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::Furnace)?;
        let words = match command {
            HeatCommand::SetPointC(set_point_c) => format!("hold {set_point_c:.0} °C"),
            HeatCommand::OutputShare(share) => format!("set the output to {:.0} %", share * 100.0),
            HeatCommand::RunProgram(program) => format!("start program {program}"),
        };
        unit.ask(Ask::new("heat", words, &["set-point", "output-share", "heat-on"]));
        Ok(faces::furnace(unit, now_ms))
    }

    fn cut(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::Furnace)?;
        // Takes the place of a wish for heat; only the word that heat is off answers it.
        unit.ask(Ask::off("heat", "switch the heat off", &["heat-on"]));
        Ok(faces::furnace(unit, now_ms))
    }
}

impl<C: Clock + Default + 'static> FlowMeter for HandKept<C> {
    fn read(&mut self, unit: usize) -> Result<FlowReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::FlowMeter)?;
        Ok(faces::flow(unit, now_ms))
    }

    fn set_flow(&mut self, unit: usize, flow: GasFlow) -> Result<FlowReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::FlowMeter)?;
        unit.ask(Ask::new("flow", format!("set the flow to {:.1} L/min", own_l_min(&flow)), &["flow"]));
        Ok(faces::flow(unit, now_ms))
    }
}

impl<C: Clock + Default + 'static> QuenchTank for HandKept<C> {
    fn read(&mut self, unit: usize) -> Result<TankReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::QuenchTank)?;
        Ok(faces::tank(unit, now_ms))
    }

    fn write(&mut self, unit: usize, command: TankCommand) -> Result<TankReading, Fault> {
        let (unit, now_ms) = self.unit(unit, Face::QuenchTank)?;
        unit.ask(match command {
            TankCommand::Agitate(true) => Ask::new("stir", "stir the bath".to_owned(), &["agitation-on"]),
            TankCommand::Agitate(false) => Ask::new("stir", "stop stirring the bath".to_owned(), &["agitation-on"]),
            TankCommand::HeatToC(bath_c) => {
                Ask::new("heat", format!("warm the bath to {bath_c:.0} °C"), &["heater-on", "temperature"])
            }
            TankCommand::HeaterOff => Ask::off("heat", "switch the bath's heater off", &["heater-on"]),
        });
        Ok(faces::tank(unit, now_ms))
    }
}

/// Every unit has this face beside its own: here values are entered.
impl<C: Clock + Default + 'static> Points for HandKept<C> {
    fn read(&mut self, unit: usize) -> Result<Vec<Point>, Fault> {
        let (unit, now_ms) = self.any(unit)?;
        Ok(faces::all_points(unit, now_ms))
    }

    fn write(&mut self, unit: usize, name: &str, value: Value) -> Result<Point, Fault> {
        let (unit, now_ms) = self.any(unit)?;
        unit.enter(&name.replace('_', "-"), value, now_ms)
    }
}

hearthward_driver::export!(HandKept<Host>: furnace, flow_meter, quench_tank, points);
