//! One round of readings: what every device of the shop says in this second.

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{Quality, Reading, Value};
use uom::si::f64::Pressure;
use uom::si::pressure::bar;

use crate::plant::Broken;
use crate::script::{Fault, Kind};
use crate::wires::{Way, Wires, plain, share};
use crate::world::World;

impl World {
    /// Lets the plant pass a second, with what is broken in it.
    pub(crate) fn step_plants(&mut self) {
        let dt_s = self.plan.scan.as_secs_f64();
        for (place, plant) in self.plants.iter_mut().enumerate() {
            let mut broken = Broken::default();
            for fault in &self.wrong[place] {
                match fault.kind {
                    Kind::RelayWelded => broken.welded = true,
                    Kind::ElementBroken => broken.element = true,
                    Kind::SupplyOut | Kind::ValveShut => broken.gas_share = Some(0.0),
                    Kind::FlowLow => broken.gas_share = Some(fault.size),
                    Kind::DoorOpens => broken.door = true,
                    Kind::ControllerDeaf => broken.deaf = true,
                    Kind::ProgramAstray => broken.astray_k = (fault.size - 0.5) * 200.0,
                    _ => {}
                }
            }
            plant.step(&self.plan.furnaces[place], self.now, dt_s, broken);
        }
        self.step_shared(dt_s);
    }

    /// Baths, room and supplies; a fault chooses one of them by its furnace.
    fn step_shared(&mut self, dt_s: f64) {
        self.baths.iter_mut().for_each(|bath| bath.step(dt_s));
        self.room_oxygen = 0.209;
        self.gauge_bar.fill(150.0);
        for fault in self.wrong.iter().flatten() {
            let count = self.baths.len();
            let bath = &mut self.baths[fault.place % count];
            match fault.kind {
                Kind::BathCold => bath.temperature_c = 25.0,
                Kind::BathHot => bath.temperature_c = 165.0,
                Kind::BathLow => bath.level = 0.5,
                Kind::BathStill => bath.stirred = false,
                Kind::RoomLow => self.room_oxygen = self.room_oxygen.min(0.19),
                Kind::RoomDanger | Kind::RoomDips => self.room_oxygen = 0.165,
                Kind::SupplyOut => {
                    let count = self.gauge_bar.len();
                    self.gauge_bar[fault.place % count] = 1.0;
                }
                _ => {}
            }
        }
    }

    /// Sends what every device says now.
    pub(crate) fn read_out(&mut self, arrived: &mut Vec<Reading>) {
        let plan = std::sync::Arc::clone(&self.plan);
        let mut wires = std::mem::take(&mut self.wires);
        for (place, furnace) in plan.furnaces.iter().enumerate() {
            let faults: &[Fault] = &self.wrong[place];
            let is = |kind| faults.iter().any(|fault| fault.kind == kind);
            let plant = &self.plants[place];
            let (now, second, seed) = (self.now, self.second, self.seed);
            let way = Way { seed, second, faults };
            if let Some(said) = wires.thermometer(furnace.temperature, plant.chamber_c, now, second, faults, seed) {
                wires.send(furnace.temperature, said, now, &way, arrived);
            }
            let mut give = |point, said, arrived: &mut Vec<Reading>| {
                if let (Some(point), Some(said)) = (point, said) {
                    wires.send(point, said, now, &way, arrived);
                }
            };
            let set_c = (plant.set_c * 10.0).round() / 10.0;
            let set_point = plain(Value::Temperature(celsius(set_c)), now);
            give(furnace.set_point.filter(|_| !is(Kind::SetPointDead)), Some(set_point), arrived);
            give(furnace.heat_on.filter(|_| !is(Kind::HeatUnread)), Some(plain(Value::Flag(plant.on), now)), arrived);
            give(furnace.output_share, Some(plain(share(plant.share), now)), arrived);
            give(furnace.over_temperature, Some(plain(Value::Flag(is(Kind::AlarmRaised)), now)), arrived);
            let load_c = if is(Kind::LoadBad) { f64::NAN } else { plant.load_c };
            give(furnace.load_temperature, Some(plain(Value::Temperature(celsius(load_c)), now)), arrived);
            give(furnace.probe, Wires::probe(plant.oxygen, now, faults), arrived);
            give(furnace.door, Wires::switch(plant.open, now, faults), arrived);
            let hood = furnace.policy.rules.first().and_then(|rule| rule.when.inputs().next()).map(|input| input.point);
            let on = plain(Value::Flag(!is(Kind::HoodOff)), now);
            give(hood.filter(|_| !is(Kind::HoodDead)), Some(on), arrived);
            if let Some(gas) = furnace.gas.as_ref().filter(|gas| !gas.by_eye) {
                let said = wires.meter(gas.flow, plant.flow, now, faults);
                if let Some(said) = said {
                    wires.send(gas.flow, said, now, &way, arrived);
                }
            }
        }
        self.wires = wires;
        self.read_shared(arrived);
    }

    fn read_shared(&mut self, arrived: &mut Vec<Reading>) {
        let plan = std::sync::Arc::clone(&self.plan);
        let (now, second, seed) = (self.now, self.second, self.seed);
        let way = Way { seed, second, faults: &[] };
        for (place, (bath, tank)) in self.baths.iter().zip(&plan.tanks).enumerate() {
            let count = self.baths.len();
            let is = |kind| self.wrong.iter().flatten().any(|fault| fault.kind == kind && fault.place % count == place);
            if let (Some(point), false) = (tank.part_under, is(Kind::TankSwitchDead)) {
                let stuck = is(Kind::TankSwitchStuck);
                let mut said = plain(Value::Flag(bath.under || stuck), now);
                if stuck && second.is_multiple_of(3) {
                    said.quality = Quality::Uncertain;
                }
                self.wires.send(point, said, now, &way, arrived);
            }
            if is(Kind::BathUnread) {
                continue;
            }
            let temperature = Value::Temperature(celsius((bath.temperature_c * 10.0).round() / 10.0));
            self.wires.send(tank.temperature, plain(temperature, now), now, &way, arrived);
            for (point, value) in [(tank.level, share(bath.level)), (tank.agitation, Value::Flag(bath.stirred))] {
                if let Some(point) = point {
                    self.wires.send(point, plain(value, now), now, &way, arrived);
                }
            }
        }
        for (supply, gauge_bar) in plan.supplies.iter().zip(&self.gauge_bar) {
            if let Some(point) = supply.pressure {
                let value = Value::Pressure(Pressure::new::<bar>(gauge_bar + 1.013_25));
                self.wires.send(point, plain(value, now), now, &way, arrived);
            }
        }
        if let (Some(point), false) = (plan.room.oxygen, self.is(Kind::MonitorDead)) {
            let read = if self.is(Kind::MonitorBad) { f64::NAN } else { self.room_oxygen };
            self.wires.send(point, plain(share(read), now), now, &way, arrived);
        }
    }
}
