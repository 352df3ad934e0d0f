//! Alarms after ISA-18.2 (IEC 62682): what a person is told of, in which state that telling is, and what they did about it.
//!
//! An interlock trip raises its alarm; an alarm is never the interlock. Nothing in here is read by what permits heat, so that
//! acknowledging, shelving or silencing changes what people hear and nothing else.
//!
//! The standard's *suppressed by design* is no state here: what a furnace's situation makes no alarm, such as a door that its step
//! expects open, is not a cause to begin with.

mod ask;
mod board;
mod catalogue;
mod name;
mod one;
mod plan;
mod state;

pub use ask::AlarmAsk;
pub(crate) use board::{Alarms, AlarmsStood, Flood, Tick};
pub use catalogue::{AlarmEntry, alarm_entry};
pub(crate) use catalogue::{OF_FURNACE, OF_SHOP};
pub use name::{alarm_kind_of, alarm_names};
pub use one::{Alarm, Aside, Heard};
pub use plan::{AlarmPlan, Delays};
use serde::{Deserialize, Serialize};
pub use state::{AlarmState, Condition, Happening};

use crate::interlock::InterlockKind;
use hearthward_equipment::{FurnaceId, TankId, UnitId};

/// What an alarm is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmKind {
    /// An interlock of a furnace has seen its cause.
    Interlock(InterlockKind),
    /// A load was quenched and its temper has not begun in time.
    TemperOverdue,
    /// A device has not confirmed that it does not heat.
    CutUnconfirmed,
    /// A bath is too near its flash point.
    BathNearFlash,
    /// A unit does not answer, or its driver is out of service.
    UnitLost,
    /// Room oxygen is under its first level.
    RoomOxygenLow,
    /// Room oxygen is under its second level, or was and nobody has reset it.
    RoomOxygenDangerous,
    /// The room's monitor cannot be relied upon.
    RoomMonitorLost,
    /// The record cannot be written.
    RecordFailing,
}

/// What an alarm belongs to. The alarms of one source are one group: the first of them is marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmSource {
    /// The shop as a whole.
    Shop,
    /// A furnace.
    Furnace(FurnaceId),
    /// A quench tank.
    Tank(TankId),
    /// A unit.
    Unit(UnitId),
}

/// Names one alarm of a shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct AlarmKey {
    /// What it belongs to.
    pub source: AlarmSource,
    /// What it is about.
    pub kind: AlarmKind,
}
