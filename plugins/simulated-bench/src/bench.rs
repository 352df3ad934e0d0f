//! The bench: everything on it, moved on together.

use crate::furnace::{Around, Furnace};
use crate::noise::Noise;
use crate::supply::{self, Cylinder, Meter, Room};
use crate::tank::Tank;

/// What a unit of the list is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    Furnace(usize),
    Meter(usize),
    Tank(usize),
    Cylinder(usize),
    Room,
    Contactors,
}

/// Everything on the bench.
#[derive(Clone, Debug)]
pub(crate) struct Bench {
    pub(crate) noise: Noise,
    pub(crate) units: Vec<(String, Which)>,
    pub(crate) furnaces: Vec<Furnace>,
    pub(crate) meters: Vec<Meter>,
    pub(crate) tanks: Vec<Tank>,
    pub(crate) cylinders: Vec<Cylinder>,
    pub(crate) room: Room,
    /// Shop time of the first look and of the last.
    first_ms: Option<u64>,
    pub(crate) now_ms: u64,
}

/// Short enough for thermocouples and doors.
const STEP_S: f64 = 0.5;
/// Most steps for one look, so that none takes longer than a few milliseconds: twenty minutes in short steps, and
/// longer ones for longer jumps, which the exact step solutions stand.
const STEPS_MAX: f64 = 2400.0;
/// Nobody is interested in what the bench did while the service slept for days.
const JUMP_S_MAX: f64 = 86_400.0;

impl Bench {
    pub(crate) fn new(noise: Noise, room: Room) -> Self {
        Self {
            noise,
            units: Vec::new(),
            furnaces: Vec::new(),
            meters: Vec::new(),
            tanks: Vec::new(),
            cylinders: Vec::new(),
            room,
            first_ms: None,
            now_ms: 0,
        }
    }

    /// Seconds since the first look.
    pub(crate) fn at_s(&self) -> f64 {
        self.now_ms.saturating_sub(self.first_ms.unwrap_or(self.now_ms)) as f64 / 1000.0
    }

    /// Moves everything on to this shop time. The first look only sets the clock.
    pub(crate) fn advance(&mut self, now_ms: u64) {
        let Some(first_ms) = self.first_ms else {
            (self.first_ms, self.now_ms) = (Some(now_ms), now_ms);
            return;
        };
        let from_s = self.now_ms.saturating_sub(first_ms) as f64 / 1000.0;
        let seconds = now_ms.saturating_sub(self.now_ms) as f64 / 1000.0;
        self.now_ms = self.now_ms.max(now_ms);
        let seconds = seconds.min(JUMP_S_MAX);
        let steps = (seconds / STEP_S).ceil().min(STEPS_MAX);
        for step in 1..=steps as u32 {
            self.step(seconds / steps, from_s + seconds / steps * f64::from(step));
        }
    }

    /// Takes steel out of a furnace and quenches it. Steel that no furnace has comes at the temperature of the furnace's
    /// chamber.
    pub(crate) fn quench(&mut self, tank: usize, steel_kg: f64, furnace: usize) {
        let Some(from) = self.furnaces.get_mut(furnace) else { return };
        let steel_c = if from.load_kg > 0.0 { from.work_c } else { from.chamber_c };
        from.load_kg = (from.load_kg - steel_kg).max(0.0);
        self.tanks[tank].quench(steel_kg, steel_c);
    }

    fn step(&mut self, seconds: f64, at_s: f64) {
        supply::step(&mut self.cylinders, &mut self.meters, &mut self.room, seconds);
        for (index, furnace) in self.furnaces.iter_mut().enumerate() {
            let feeding = self.meters.iter().filter(|meter| meter.furnace == index);
            let (mut flow_l_min, mut oxygen_l_min) = (0.0, 0.0);
            for meter in feeding {
                flow_l_min += meter.flow_l_min;
                oxygen_l_min += meter.flow_l_min * meter.cylinder.map_or(0.0, |cylinder| self.cylinders[cylinder].oxygen);
            }
            furnace.step(&Around {
                seconds,
                at_s,
                room_c: self.room.temperature_c,
                room_oxygen: self.room.oxygen,
                flow_l_min,
                supply_oxygen: if flow_l_min > 0.0 { oxygen_l_min / flow_l_min } else { 0.0 },
            });
        }
        self.tanks.iter_mut().for_each(|tank| tank.step(seconds, self.room.temperature_c));
    }
}
