//! The equipment: furnaces, baths, room. Simple physics that obeys what it was told, as long as it is not broken.

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{Generation, ShopMs};
use hearthward_supervise::interlock::Means;
use hearthward_supervise::output::Via;
use hearthward_supervise::plan::{FurnacePlan, Heating};

/// Temperature of the workshop in °C.
pub const ROOM_C: f64 = 21.0;
/// Oxygen in air, as a fraction.
pub const AIR: f64 = 0.2095;
/// The molar gas constant in J/(mol·K), exact by the SI's definition of 2019, and one standard atmosphere in Pa.
pub const R: f64 = 8.314_462_618;
/// One standard atmosphere in Pa.
pub const ATMOSPHERE_PA: f64 = 101_325.0;

/// What is wrong with one furnace's equipment now.
#[derive(Clone, Copy, Debug, Default)]
pub struct Broken {
    /// The relay heats whatever it is told.
    pub welded: bool,
    /// It heats no more.
    pub element: bool,
    /// No gas comes, or only this share.
    pub gas_share: Option<f64>,
    /// The door stands open by accident.
    pub door: bool,
    /// The controller's program goes so far beside the recipe, in K.
    pub astray_k: f64,
    /// Its controller obeys nothing.
    pub deaf: bool,
}

/// One furnace.
#[derive(Clone, Debug)]
pub struct Plant {
    /// Chamber and load in °C.
    pub chamber_c: f64,
    /// The load lags behind.
    pub load_c: f64,
    /// A person has it open.
    pub opened: bool,
    /// The door stands open.
    pub open: bool,
    /// What the meter was told, by wire or by hand, in mol/s.
    pub set_flow: f64,
    /// Gas that flows in, in mol/s.
    pub flow: f64,
    /// The valve, where one is wired.
    pub valve: bool,
    /// Oxygen in the chamber as a fraction.
    pub oxygen: f64,
    /// Share of full power.
    pub share: f64,
    /// A controller set by hand, in °C.
    pub hand_c: Option<f64>,
    /// Where the controller's program goes, in °C.
    pub program_c: f64,
    /// What the controller shows as its set point, in °C.
    pub set_c: f64,
    /// Whether it shows that it may heat.
    pub on: bool,
    /// What somebody set at its panel, or it was told before it went deaf, in °C.
    pub panel_c: Option<f64>,
    /// It goes on with that whatever it is told.
    pub deaf: bool,
    /// The order in force.
    order: Option<(Option<f64>, ShopMs, Generation)>,
    closed: Option<ShopMs>,
    rises_k_per_s: f64,
    volume_m3: f64,
}

impl Plant {
    /// A cold furnace.
    #[must_use]
    pub fn new(plan: &FurnacePlan, rises_k_per_s: f64) -> Self {
        Self {
            chamber_c: ROOM_C,
            load_c: ROOM_C,
            opened: false,
            open: false,
            set_flow: 0.0,
            flow: 0.0,
            valve: plan.gas.as_ref().and_then(|gas| gas.valve).is_none_or(|valve| valve.open_unpowered),
            oxygen: AIR,
            share: 0.0,
            hand_c: None,
            program_c: ROOM_C,
            set_c: ROOM_C,
            on: false,
            panel_c: None,
            deaf: false,
            order: None,
            closed: None,
            rises_k_per_s,
            volume_m3: plan.chamber.volume.value,
        }
    }

    /// An order came down the line.
    pub fn ordered(&mut self, means: &Means, expires: ShopMs, generation: Generation) {
        match means {
            Means::Close(_) => self.closed = Some(expires),
            Means::SetPoint(to) => self.order = Some((Some(in_celsius(*to)), expires, generation)),
            Means::RunProgram(_) | Means::OutputShare(_) => self.order = Some((None, expires, generation)),
        }
    }

    /// A cut came down the line.
    pub fn cut(&mut self, generation: Generation, via: Via) {
        if self.order.is_some_and(|(_, _, given)| given < generation) {
            self.order = None;
        }
        if via == Via::Controller && !self.deaf {
            self.panel_c = None;
        }
        if via == Via::Contactor {
            self.closed = None;
        }
    }

    /// The service is gone: what it kept closed drops, its leases end.
    pub fn abandoned(&mut self) {
        (self.order, self.closed) = (None, None);
    }

    /// Lets time pass.
    pub fn step(&mut self, plan: &FurnacePlan, now: ShopMs, dt_s: f64, broken: Broken) {
        self.open = self.opened || broken.door;
        let wired = plan.contactor.is_none() || self.closed.is_some_and(|until| until > now);
        let wanted_c = match plan.heating {
            Heating::ByHand | Heating::Watched => self.hand_c,
            Heating::SetPoint | Heating::Program => {
                let order = self.order.filter(|(_, expires, _)| *expires > now);
                order.map(|(to_c, ..)| to_c.unwrap_or(self.program_c + broken.astray_k)).or(self.panel_c)
            }
        };
        if broken.deaf && !self.deaf {
            self.panel_c = wanted_c;
        }
        self.deaf = broken.deaf;
        let wanted_c = if self.deaf { self.panel_c } else { wanted_c };
        self.on = wanted_c.is_some();
        self.set_c = wanted_c.unwrap_or(ROOM_C);
        let asked = wanted_c.map_or(0.0, |wanted_c| ((wanted_c - self.chamber_c) / 10.0 + 0.3).clamp(0.0, 1.0));
        self.share = if wired && broken.welded {
            1.0
        } else if wired {
            asked
        } else {
            0.0
        };
        let heats = if broken.element { 0.0 } else { self.share };
        let loss = self.rises_k_per_s / 1600.0 * if self.open { 3.0 } else { 1.0 };
        self.chamber_c += dt_s * (self.rises_k_per_s * heats - loss * (self.chamber_c - ROOM_C));
        self.load_c += (dt_s / 20.0).min(1.0) * (self.chamber_c - self.load_c);
        self.flow = self.set_flow * broken.gas_share.unwrap_or(1.0) * f64::from(u8::from(self.valve));
        self.breathe(dt_s);
    }

    fn breathe(&mut self, dt_s: f64) {
        if self.open {
            self.oxygen += (AIR - self.oxygen) * (dt_s / 5.0).min(1.0);
            return;
        }
        let held_mol = ATMOSPHERE_PA * self.volume_m3 / (R * (self.chamber_c + 273.15));
        self.oxygen -= (self.oxygen - 5e-6) * (self.flow * dt_s / held_mol).min(1.0);
        self.oxygen += (AIR - self.oxygen) * 1e-7 * dt_s;
    }
}

/// One bath.
#[derive(Clone, Debug)]
pub struct Bath {
    /// In °C.
    pub temperature_c: f64,
    /// Share of the working depth.
    pub level: f64,
    /// Whether it is stirred.
    pub stirred: bool,
    /// Its heater keeps it here, in °C.
    pub heats_to_c: Option<f64>,
    /// A part goes under.
    pub under: bool,
}

impl Bath {
    /// A bath at work.
    #[must_use]
    pub fn new() -> Self {
        Self { temperature_c: 52.0, level: 1.0, stirred: true, heats_to_c: None, under: false }
    }

    /// Lets time pass: it comes back to where people keep it.
    pub fn step(&mut self, dt_s: f64) {
        let rest_c = self.heats_to_c.unwrap_or(50.0);
        self.temperature_c += (rest_c - self.temperature_c) * (dt_s / 60.0).min(1.0);
    }
}

impl Default for Bath {
    fn default() -> Self {
        Self::new()
    }
}
