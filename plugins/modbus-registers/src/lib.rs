//! Driver for any Modbus device, by a register map in its settings.
//!
//! The map is in the plugin's README; the way of one read is: the plan joined the unit's registers into as few requests
//! as possible when the settings were read, the link exchanges them, an entry decodes each value, a face builds the
//! reading. All of it runs natively against a stand-in for the line.

mod build;
mod cuts;
mod entry;
mod faces;
mod link;
mod map;
mod overlap;
mod plan;
mod unit;

#[cfg(test)]
mod stand_in;
#[cfg(test)]
mod tests;

use hearthward_driver::{
    Bus, Description, Driver, Fault, FlowMeter, FlowReading, Furnace, FurnaceReading, GasFlow, HeatCommand, Host, Point, Points,
    Problem, QuenchTank, Settings, TankCommand, TankReading, Unit, Value, fault, reading,
};

use crate::link::Link;
use crate::unit::{Face, UnitPlan};

/// The driver on any bus; [`Host`] in a sandbox, a stand-in in tests.
#[derive(Debug)]
pub struct Registers<B> {
    link: Link<B>,
    units: Vec<UnitPlan>,
}

impl<B> Registers<B> {
    /// The unit, if it is one of this face.
    fn unit(&mut self, index: usize, face: Face) -> Result<(&mut Link<B>, &UnitPlan), Fault> {
        let unit = self.units.get(index).ok_or_else(|| fault::no_unit(index))?;
        if unit.face != face {
            return Err(fault::not_supported(format!("{} is no {}", unit.name, face.word())));
        }
        Ok((&mut self.link, unit))
    }
}

impl<B: Bus + Default + 'static> Driver for Registers<B> {
    fn describe() -> Description {
        reading::description("modbus-registers", env!("CARGO_PKG_VERSION"))
    }

    fn build(settings: &Settings, lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>> {
        let (shape, units) = build::read(settings, lines)?;
        let listed = units.iter().map(|unit| unit.listed(shape.framing, shape.deadline_ms)).collect();
        Ok((Self { link: Link::new(B::default(), shape.framing, shape.deadline_ms), units }, listed))
    }
}

impl<B: Bus + Default + 'static> Furnace for Registers<B> {
    fn read(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (link, unit) = self.unit(unit, Face::Furnace)?;
        Ok(faces::furnace(unit, &link.read(unit)?))
    }

    fn heat(&mut self, unit: usize, command: HeatCommand) -> Result<FurnaceReading, Fault> {
        let (link, unit) = self.unit(unit, Face::Furnace)?;
        let writes = faces::heat(unit, &command)?;
        Ok(faces::furnace(unit, &link.apply(unit, &writes)?))
    }

    fn cut(&mut self, unit: usize) -> Result<FurnaceReading, Fault> {
        let (link, unit) = self.unit(unit, Face::Furnace)?;
        Ok(faces::furnace(unit, &link.cut(unit)?))
    }
}

impl<B: Bus + Default + 'static> FlowMeter for Registers<B> {
    fn read(&mut self, unit: usize) -> Result<FlowReading, Fault> {
        let (link, unit) = self.unit(unit, Face::FlowMeter)?;
        Ok(faces::flow(unit, &link.read(unit)?))
    }

    fn set_flow(&mut self, unit: usize, flow: GasFlow) -> Result<FlowReading, Fault> {
        let (link, unit) = self.unit(unit, Face::FlowMeter)?;
        let writes = faces::set_flow(unit, &flow)?;
        Ok(faces::flow(unit, &link.apply(unit, &writes)?))
    }
}

impl<B: Bus + Default + 'static> QuenchTank for Registers<B> {
    fn read(&mut self, unit: usize) -> Result<TankReading, Fault> {
        let (link, unit) = self.unit(unit, Face::QuenchTank)?;
        Ok(faces::tank(unit, &link.read(unit)?))
    }

    fn write(&mut self, unit: usize, command: TankCommand) -> Result<TankReading, Fault> {
        let (link, unit) = self.unit(unit, Face::QuenchTank)?;
        let writes = faces::tank_write(unit, &command)?;
        Ok(faces::tank(unit, &link.apply(unit, &writes)?))
    }
}

/// Every unit has this face beside its own: it shows and writes the points that the own face has no field for. A furnace's
/// set point is not among them, because heat passes through `heat` only.
impl<B: Bus + Default + 'static> Points for Registers<B> {
    fn read(&mut self, unit: usize) -> Result<Vec<Point>, Fault> {
        let unit = self.units.get(unit).ok_or_else(|| fault::no_unit(unit))?;
        Ok(faces::points(unit, &self.link.read(unit)?))
    }

    fn write(&mut self, unit: usize, name: &str, value: Value) -> Result<Point, Fault> {
        let unit = self.units.get(unit).ok_or_else(|| fault::no_unit(unit))?;
        let entry = unit.extra(name)?;
        let writes = [unit.write_to(entry, &value)?];
        Ok(faces::point(unit, &self.link.apply(unit, &writes)?, entry))
    }
}

hearthward_driver::export!(Registers<Host>: furnace, flow_meter, quench_tank, points);
