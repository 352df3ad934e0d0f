//! A furnace: chamber and work as two bodies that exchange heat, a thermocouple that lags, a controller, a contactor, a door.

use libm::exp;

use crate::controller::Controller;
use crate::gas::{Chamber, Gas, Step};
use crate::noise::Noise;

/// What a furnace is like.
#[derive(Clone, Debug)]
pub(crate) struct Build {
    pub(crate) power_kw: f64,
    /// Lining and elements together.
    pub(crate) chamber_kj_per_k: f64,
    pub(crate) loss_w_per_k: f64,
    /// On top of that while the door is open.
    pub(crate) door_loss_w_per_k: f64,
    /// The thermocouple's time constant.
    pub(crate) sensor_s: f64,
    pub(crate) sensor_noise_k: f64,
    pub(crate) load_area_m2_per_kg: f64,
    pub(crate) chamber: Chamber,
    /// Seconds after which the contactor drops unless it is written again; 0 holds for ever.
    pub(crate) contactor_timeout_s: f64,
    /// Openings of the door, in seconds after the bench's start: from, to.
    pub(crate) openings_s: Vec<(f64, f64)>,
}

/// A furnace and its state.
#[derive(Clone, Debug)]
pub(crate) struct Furnace {
    pub(crate) build: Build,
    pub(crate) controller: Controller,
    pub(crate) gas: Gas,
    pub(crate) chamber_c: f64,
    pub(crate) work_c: f64,
    pub(crate) load_kg: f64,
    sensor_c: f64,
    /// Door opened by hand, besides the scripted openings.
    pub(crate) door_held_open: bool,
    pub(crate) sensor_broken: bool,
    pub(crate) contactor_closed: bool,
    /// Seconds since the contactor was last written.
    contactor_age_s: f64,
    pub(crate) power_kw: f64,
}

/// What a furnace gets from around it during one step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Around {
    pub(crate) seconds: f64,
    /// Since the bench's start, at the end of the step.
    pub(crate) at_s: f64,
    pub(crate) room_c: f64,
    pub(crate) room_oxygen: f64,
    pub(crate) flow_l_min: f64,
    pub(crate) supply_oxygen: f64,
}

/// Stefan–Boltzmann constant in W/(m²·K⁴): 5.670 374 419e-8 (CODATA 2018, from memory).
const RADIATION: f64 = 5.670_374_419e-8;
/// Of scaled or oiled steel in a chamber, about (common practice).
const EMISSIVITY: f64 = 0.7;
/// Still gas around the work, W/(m²·K), about.
const CONVECTION: f64 = 8.0;
/// Specific heat of steel averaged over a hardening cycle, kJ/(kg·K), about (common practice).
pub(crate) const STEEL_KJ_PER_KG_K: f64 = 0.65;
const ZERO_C_IN_K: f64 = 273.15;

impl Furnace {
    pub(crate) fn new(build: Build, controller: Controller, start_c: f64, load_kg: f64) -> Self {
        Self {
            build,
            controller,
            gas: Gas::air(),
            chamber_c: start_c,
            work_c: start_c,
            load_kg,
            sensor_c: start_c,
            door_held_open: false,
            sensor_broken: false,
            contactor_closed: true,
            contactor_age_s: 0.0,
            power_kw: 0.0,
        }
    }

    /// Whether the door is open at this time.
    pub(crate) fn door_open(&self, at_s: f64) -> bool {
        self.door_held_open || self.build.openings_s.iter().any(|(from, to)| (*from..*to).contains(&at_s))
    }

    /// What the thermocouple shows, to a tenth as its controller does; none when it is broken.
    pub(crate) fn shown_c(&self, noise: Noise, channel: u64, now_ms: u64) -> Option<f64> {
        let shown = self.sensor_c + self.build.sensor_noise_k * noise.at(channel, now_ms);
        (!self.sensor_broken).then(|| (shown * 10.0).round() / 10.0)
    }

    pub(crate) fn write_contactor(&mut self, closed: bool) {
        self.contactor_closed = closed;
        self.contactor_age_s = 0.0;
    }

    /// Charges the furnace with cold steel; 0 empties it.
    pub(crate) fn charge(&mut self, load_kg: f64, room_c: f64) {
        self.load_kg = load_kg;
        self.work_c = room_c;
    }

    /// One step: controller, heat, gas, each with the others held.
    pub(crate) fn step(&mut self, around: &Around) {
        let door_open = self.door_open(around.at_s);
        self.contactor_age_s += around.seconds;
        if self.build.contactor_timeout_s > 0.0 && self.contactor_age_s > self.build.contactor_timeout_s {
            self.contactor_closed = false;
        }
        let measured = (!self.sensor_broken).then_some(self.sensor_c);
        self.controller.step(measured, around.seconds);
        self.power_kw = if self.contactor_closed { self.build.power_kw * self.controller.output_share } else { 0.0 };
        let before_c = self.chamber_c;
        self.exchange_heat(around, door_open);
        self.sensor_c = toward(self.sensor_c, self.chamber_c, around.seconds / self.build.sensor_s);
        let step = Step {
            seconds: around.seconds,
            flow_l_min: around.flow_l_min,
            supply_oxygen: around.supply_oxygen,
            room_oxygen: around.room_oxygen,
            chamber_k: self.chamber_c + ZERO_C_IN_K,
            rate_k_s: (self.chamber_c - before_c) / around.seconds,
            door_open,
        };
        self.gas.step(&self.build.chamber, &step);
    }

    /// Each body moves towards the temperature at which its heat flows would balance: exact for held neighbours, and stable
    /// for any length of step.
    fn exchange_heat(&mut self, around: &Around, door_open: bool) {
        let build = &self.build;
        let loss = build.loss_w_per_k + if door_open { build.door_loss_w_per_k } else { 0.0 };
        let to_work = self.to_work_w_per_k();
        let all = loss + to_work;
        let balance_c = (self.power_kw * 1000.0 + loss * around.room_c + to_work * self.work_c) / all;
        let seconds = around.seconds;
        self.chamber_c = toward(self.chamber_c, balance_c, all * seconds / (build.chamber_kj_per_k * 1000.0));
        if self.load_kg > 0.0 {
            let work_j_per_k = self.load_kg * STEEL_KJ_PER_KG_K * 1000.0;
            self.work_c = toward(self.work_c, self.chamber_c, to_work * seconds / work_j_per_k);
        } else {
            self.work_c = self.chamber_c;
        }
    }

    /// Radiation between two temperatures, written as a conductance, and a little convection.
    fn to_work_w_per_k(&self) -> f64 {
        let (chamber_k, work_k) = (self.chamber_c + ZERO_C_IN_K, self.work_c + ZERO_C_IN_K);
        let radiation = EMISSIVITY * RADIATION * (chamber_k * chamber_k + work_k * work_k) * (chamber_k + work_k);
        self.load_kg * self.build.load_area_m2_per_kg * (radiation + CONVECTION)
    }
}

/// Moves a value towards another by so many time constants.
pub(crate) fn toward(value: f64, goal: f64, time_constants: f64) -> f64 {
    goal + (value - goal) * exp(-time_constants)
}
