//! What the core wants done and has to say, as values.

use hearthward_equipment::quantity::{GasFlow, Temperature};
use hearthward_equipment::{FurnaceId, Generation, PointId, ShopMs, Tick, UnitId, Value};
use serde::{Deserialize, Serialize};

use crate::event::Event;
use crate::interlock::HeatOrder;
use crate::request::{Answer, Ticket};

/// All outputs of one tick. Carried out in the order of the fields: cuts first, people last.
#[derive(Debug, Default)]
pub struct Outputs {
    /// The number of this tick.
    pub tick: Tick,
    /// Heat to take away, at once.
    pub cuts: Vec<Cut>,
    /// Everything else that equipment shall do; never heat.
    pub acts: Vec<Act>,
    /// Leases to heat.
    pub orders: Vec<HeatOrder>,
    /// What happened, for the record.
    pub events: Vec<Event>,
    /// Answers to requests; given to people only when the events of this tick are durable.
    pub answers: Vec<(Ticket, Answer)>,
    /// Tick again no later than this.
    pub wake_at: ShopMs,
    /// A hash over the state after this tick: two runs that differ, differ here.
    pub digest: u64,
}

impl Outputs {
    /// Empties everything, keeping the room that was taken.
    pub fn clear(&mut self) {
        self.cuts.clear();
        self.acts.clear();
        self.orders.clear();
        self.events.clear();
        self.answers.clear();
    }
}

/// Take heat away from a furnace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cut {
    /// From which.
    pub furnace: FurnaceId,
    /// The generation that this cut begins: orders of older ones are void.
    pub generation: Generation,
    /// By what.
    pub via: Via,
}

/// By what heat is given, and by what it is taken away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Via {
    /// The furnace's controller.
    Controller,
    /// Its contactor: by order where a person or nothing else switches, and where the controller did not confirm a cut.
    Contactor,
}

impl Via {
    /// Both, for loops.
    pub const BOTH: [Self; 2] = [Self::Controller, Self::Contactor];
}

/// Something that equipment shall do and that never is heat for steel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Act {
    /// Set a meter's flow.
    SetFlow {
        /// The meter.
        meter: UnitId,
        /// How much.
        flow: GasFlow,
    },
    /// Write a point: a gas valve, a horn. The host refuses a heat output here.
    WritePoint {
        /// Which.
        point: PointId,
        /// What.
        value: Value,
    },
    /// Stir the bath, or stop.
    Agitate {
        /// The tank's unit.
        unit: UnitId,
        /// Whether.
        on: bool,
    },
    /// Warm the bath.
    HeatTank {
        /// The tank's unit.
        unit: UnitId,
        /// To what temperature.
        to: Temperature,
    },
    /// Turn the bath's heater off.
    TankHeaterOff {
        /// The tank's unit.
        unit: UnitId,
    },
    /// Hand a person's reading to the driver of equipment kept by hand.
    Enter {
        /// Where it belongs.
        point: PointId,
        /// What was read.
        value: Value,
    },
}
