//! The interlocks: what withholds heat, what asks, and the only place that grants a permit.

mod catalogue;
mod door_open;
mod driver_lost;
mod gas_supply;
mod off_set_point;
mod opening_at_heat;
mod over_temperature;
mod permit;
mod purge_before_heat;
mod purge_flow;
mod quench;
mod room_oxygen;
mod row;
mod run_time;
mod sensor_fault;
mod shared;
mod shop_rules;
mod stops;
#[cfg(test)]
mod truth;

pub use catalogue::{Effect, Entry, For, effect, entry, may_be_bypassed};
pub(crate) use catalogue::{Memory, Told, acts, applies, say, verdict};
pub(crate) use driver_lost::agrees;
pub(crate) use permit::{Case, Grant, GrantChange, judge};
pub use permit::{HeatOrder, Means, Permit};
pub(crate) use purge_flow::is_lost as flow_is_lost;
pub(crate) use row::{Change, Rows, Verdict, Why};
use serde::{Deserialize, Serialize};

/// The rows of the interlock table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InterlockKind {
    /// No heat above the unpurged ceiling until the purge is proved.
    PurgeBeforeHeat,
    /// Heat off while the door is open at heat; recovery purge and exposure account.
    OpeningAtHeat,
    /// Door open or unknown.
    DoorOpen,
    /// Above the furnace's own limit.
    OverTemperature,
    /// Off its set point.
    OffSetPoint,
    /// A thermocouple that is broken, disagrees or does not answer to heat.
    SensorFault,
    /// A reading too old, or a driver out of service.
    DriverLost,
    /// Purge flow lost.
    PurgeFlow,
    /// The supply will not reach the end.
    GasSupply,
    /// The tank is not ready.
    QuenchReadiness,
    /// The bath is too near its flash point.
    QuenchOverTemperature,
    /// Too little oxygen in the room.
    RoomOxygen,
    /// The tank is kept for another load.
    OneTankOneLoad,
    /// The manifold is at its capacity.
    SharedSupply,
    /// The electrical demand is at its limit.
    SharedElectrical,
    /// Heating longer than its limit without a sign of life.
    RunTimeLimit,
    /// A person stopped it.
    Stop,
    /// A load was interrupted, by a long or doubtful gap or a reset, and nobody has said that it goes on.
    Interrupted,
    /// The service is ending in order.
    Ending,
    /// A rule of the shop's own that cuts heat.
    ShopRule,
    /// A rule of the shop's own that warns, forbids a start or asks.
    ShopWatch,
}

impl InterlockKind {
    /// How many rows the table has.
    pub const COUNT: usize = 21;

    /// All of them, in the order of the table.
    pub const ALL: [Self; Self::COUNT] = [
        Self::PurgeBeforeHeat,
        Self::OpeningAtHeat,
        Self::DoorOpen,
        Self::OverTemperature,
        Self::OffSetPoint,
        Self::SensorFault,
        Self::DriverLost,
        Self::PurgeFlow,
        Self::GasSupply,
        Self::QuenchReadiness,
        Self::QuenchOverTemperature,
        Self::RoomOxygen,
        Self::OneTankOneLoad,
        Self::SharedSupply,
        Self::SharedElectrical,
        Self::RunTimeLimit,
        Self::Stop,
        Self::Interrupted,
        Self::Ending,
        Self::ShopRule,
        Self::ShopWatch,
    ];
}
