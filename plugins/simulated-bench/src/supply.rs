//! Where the gas comes from and where it goes: cylinders, meters, the room.

use crate::furnace::toward;
use crate::gas::{AIR_OXYGEN, REFERENCE_K};

/// Reference pressure of the bench's flow meters: one standard atmosphere.
pub(crate) const REFERENCE_KPA: f64 = 101.325;
const ZERO_C_IN_K: f64 = 273.15;
/// Time in which a flow follows its valve.
const FLOW_S: f64 = 1.0;
/// Below this a regulator gives less and less.
const REGULATOR_KPA: f64 = 600.0;

/// A cylinder with its regulator.
#[derive(Clone, Debug)]
pub(crate) struct Cylinder {
    pub(crate) volume_l: f64,
    /// Absolute.
    pub(crate) pressure_kpa: f64,
    /// Oxygen in the gas, by volume.
    pub(crate) oxygen: f64,
    pub(crate) capacity_l_min: f64,
    pub(crate) valve_open: bool,
    pub(crate) flow_l_min: f64,
}

impl Cylinder {
    /// Most that it can give now.
    fn gives_l_min(&self) -> f64 {
        let left = ((self.pressure_kpa - REFERENCE_KPA) / (REGULATOR_KPA - REFERENCE_KPA)).clamp(0.0, 1.0);
        if self.valve_open { self.capacity_l_min * left } else { 0.0 }
    }

    /// What left it during a step, as an ideal gas at the room's temperature.
    fn lose(&mut self, flow_l_min: f64, seconds: f64, room_c: f64) {
        self.flow_l_min = flow_l_min;
        let reference_l = flow_l_min / 60.0 * seconds;
        let fall_kpa = reference_l * REFERENCE_KPA / self.volume_l * (room_c + ZERO_C_IN_K) / REFERENCE_K;
        self.pressure_kpa = (self.pressure_kpa - fall_kpa).max(REFERENCE_KPA);
    }
}

/// A meter with its valve, between a supply and a furnace.
#[derive(Clone, Debug)]
pub(crate) struct Meter {
    pub(crate) furnace: usize,
    /// None is a supply that never ends.
    pub(crate) cylinder: Option<usize>,
    pub(crate) most_l_min: f64,
    pub(crate) settable: bool,
    pub(crate) noise_share: f64,
    pub(crate) set_l_min: f64,
    pub(crate) flow_l_min: f64,
    /// The reading stays where it was, whatever flows.
    pub(crate) stuck_at_l_min: Option<f64>,
    /// Nothing flows, whatever is set.
    pub(crate) blocked: bool,
}

impl Meter {
    fn wanted_l_min(&self) -> f64 {
        if self.blocked { 0.0 } else { self.set_l_min }
    }
}

/// The room that all stand in.
#[derive(Clone, Debug)]
pub(crate) struct Room {
    pub(crate) volume_l: f64,
    pub(crate) air_changes_per_h: f64,
    pub(crate) temperature_c: f64,
    pub(crate) oxygen: f64,
    /// What the monitor is made to show.
    pub(crate) forced_oxygen: Option<f64>,
    pub(crate) horn: bool,
}

impl Room {
    pub(crate) fn new(temperature_c: f64) -> Self {
        Self { volume_l: 60_000.0, air_changes_per_h: 2.0, temperature_c, oxygen: AIR_OXYGEN, forced_oxygen: None, horn: false }
    }

    fn step(&mut self, gas_l_min: f64, seconds: f64) {
        let air_l_s = self.air_changes_per_h * self.volume_l / 3600.0;
        let all_l_s = air_l_s + gas_l_min / 60.0;
        if all_l_s > 0.0 {
            self.oxygen = toward(self.oxygen, AIR_OXYGEN * air_l_s / all_l_s, all_l_s / self.volume_l * seconds);
        }
    }
}

/// One step of all gas: regulators share what they can give, meters follow, cylinders empty, the room gets it all.
pub(crate) fn step(cylinders: &mut [Cylinder], meters: &mut [Meter], room: &mut Room, seconds: f64) {
    for (index, cylinder) in cylinders.iter_mut().enumerate() {
        let fed = |meter: &&mut Meter| meter.cylinder == Some(index);
        let wanted: f64 = meters.iter_mut().filter(fed).map(|meter| meter.wanted_l_min()).sum();
        let share = if wanted > 0.0 { (cylinder.gives_l_min() / wanted).min(1.0) } else { 0.0 };
        let mut flows_l_min = 0.0;
        for meter in meters.iter_mut().filter(fed) {
            meter.flow_l_min = toward(meter.flow_l_min, meter.wanted_l_min() * share, seconds / FLOW_S);
            flows_l_min += meter.flow_l_min;
        }
        cylinder.lose(flows_l_min, seconds, room.temperature_c);
    }
    for meter in meters.iter_mut().filter(|meter| meter.cylinder.is_none()) {
        meter.flow_l_min = toward(meter.flow_l_min, meter.wanted_l_min(), seconds / FLOW_S);
    }
    let all_l_min: f64 = meters.iter().map(|meter| meter.flow_l_min).sum();
    room.step(all_l_min, seconds);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meter(set_l_min: f64) -> Meter {
        Meter {
            furnace: 0,
            cylinder: Some(0),
            most_l_min: 20.0,
            settable: true,
            noise_share: 0.0,
            set_l_min,
            flow_l_min: 0.0,
            stuck_at_l_min: None,
            blocked: false,
        }
    }

    fn cylinder(pressure_kpa: f64) -> Cylinder {
        Cylinder { volume_l: 43.8, pressure_kpa, oxygen: 5e-6, capacity_l_min: 20.0, valve_open: true, flow_l_min: 0.0 }
    }

    /// Goal: a cylinder of 43.8 L falls by 8 × 60 × 101.325 ÷ 43.8 = 1110 kPa in an hour at 8 L/min (ideal gas, worked by
    /// hand, at the reference temperature).
    #[test]
    fn a_cylinder_empties() {
        let (mut cylinders, mut meters) = ([cylinder(15_000.0)], [Meter { flow_l_min: 8.0, ..meter(8.0) }]);
        let mut room = Room::new(21.1);
        (0..7200).for_each(|_| step(&mut cylinders, &mut meters, &mut room, 0.5));
        assert!((15_000.0 - cylinders[0].pressure_kpa - 1110.4).abs() < 0.5, "{}", cylinders[0].pressure_kpa);
        assert!(room.oxygen < AIR_OXYGEN && room.oxygen > 0.19);
    }

    /// Goal: two meters share what the regulator can give; a shut valve gives nothing.
    #[test]
    fn meters_share() {
        let (mut cylinders, mut meters) = ([cylinder(15_000.0)], [meter(15.0), meter(15.0)]);
        let mut room = Room::new(20.0);
        (0..60).for_each(|_| step(&mut cylinders, &mut meters, &mut room, 0.5));
        assert!((meters[0].flow_l_min - 10.0).abs() < 0.01);
        cylinders[0].valve_open = false;
        (0..60).for_each(|_| step(&mut cylinders, &mut meters, &mut room, 0.5));
        assert!(meters[1].flow_l_min < 0.01);
    }
}
