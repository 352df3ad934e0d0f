//! The interlocks: what withholds heat, what asks, and the only place that grants a permit.

mod permit;

pub use permit::{HeatOrder, Means, Permit};
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
    /// The service was away too long or in doubt.
    Interrupted,
    /// The service is ending in order.
    Ending,
}
