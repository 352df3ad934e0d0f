//! What the core is told: every way in that can change a decision.

use hearthward_equipment::{Fault, FurnaceId, Generation, Reading, ShopMs, Tick, UnitId};
use serde::{Deserialize, Serialize};

use crate::output::{Act, Via};

/// One thing that happened outside.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Observation {
    /// A value was read.
    Reading(Reading),
    /// A unit came, went or failed.
    Unit {
        /// Which.
        unit: UnitId,
        /// How it is now.
        is: UnitState,
    },
    /// How far a cut has come.
    Cut {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which cut.
        generation: Generation,
        /// Which way of it.
        via: Via,
        /// How far.
        is: CutState,
    },
    /// All that the core said up to this tick is on disk.
    Durable {
        /// The last such tick.
        through: Tick,
    },
    /// The journal cannot write, or can again.
    Record {
        /// Whether it fails, with words.
        failing: Option<String>,
    },
    /// The wall clock ran ahead of the shop's: the computer slept, or its clock was set. What may only last so long lasts shorter.
    WallAhead {
        /// By how much.
        by: ShopMs,
    },
    /// The service was told to end in order.
    Stopping,
    /// Whether a unit takes the orders to heat that it is given: told when it changes. Who refuses them may refuse a cut, too.
    Order {
        /// The unit.
        unit: UnitId,
        /// What became of the last one.
        is: ActState,
    },
    /// What became of an act.
    Act {
        /// Which.
        act: Act,
        /// What became of it.
        is: ActState,
    },
}

/// What became of an act.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ActState {
    /// The unit took it.
    Done,
    /// It was not carried out; it stays owed.
    Failed(Fault),
}

/// How a unit is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum UnitState {
    /// It answers.
    Answering,
    /// It did not answer, or made no sense.
    Silent(Fault),
    /// Its driver is out of service: refused, or quarantined after faults.
    OutOfService(Fault),
}

/// How far a cut has come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum CutState {
    /// The bytes went out.
    Sent,
    /// The device has taken it: what was written reads back.
    Confirmed,
    /// It could not be sent or did not read back.
    Failed(Fault),
}

/// Whether an observation can wait for the scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Urgency {
    /// Tick at once.
    Now,
    /// At the next scan.
    Scan,
}
