//! The vocabulary that every room of the house shares: who is meant, what was read, and how good it is.
//!
//! Nothing here decides anything and nothing here touches a wire. Quantities are `uom` quantities; the few places where a
//! bare number must appear carry the unit in the name.

pub mod address;
pub mod directory;
pub mod fault;
pub mod nearest;
pub mod quantity;
pub mod reading;
pub mod steps;
pub mod time;

pub use address::{Address, DriverName, Name, NameError, UnitAddress};
pub use directory::{Directory, FurnaceId, HeatPointId, PointId, SupplyId, TankId, UnitId};
pub use fault::{Fault, FaultCode};
pub use nearest::nearest;
pub use quantity::{GasFlow, Temperature, TemperatureStep};
pub use reading::{Evidence, Quality, Reading, Value};
pub use steps::Scale;
pub use time::{Generation, ShopMs, Tick};
