//! The services, each a thin layer: understand the request, ask the shop or the journal, say it in the API's words.

mod alarms;
mod cycles;
mod drivers;
mod events;
mod interlocks;
mod planning;
mod shop;

use hearthward_equipment::{FurnaceId, Name};
use hearthward_supervise::plan::ShopPlan;

pub(crate) use alarms::AlarmServer;
pub(crate) use cycles::Cycles;
pub(crate) use drivers::Drivers;
pub(crate) use events::EventServer;
pub(crate) use interlocks::Interlocks;
pub(crate) use planning::Planner;
pub(crate) use shop::Shops;

use crate::error::ApiError;

/// The furnace of a name that must be given.
fn furnace(plan: &ShopPlan, name: &str) -> Result<FurnaceId, ApiError> {
    if name.is_empty() {
        return Err(ApiError::field("furnace", "must name a furnace"));
    }
    let unknown = || ApiError::unknown("furnace", name, plan.furnaces.iter().map(|one| &one.name));
    let name = Name::new(name).map_err(|_| unknown())?;
    plan.find_furnace(&name).ok_or_else(unknown)
}

/// The furnace of a name that may be left out.
fn furnace_or_all(plan: &ShopPlan, name: &str) -> Result<Option<FurnaceId>, ApiError> {
    if name.is_empty() { Ok(None) } else { furnace(plan, name).map(Some) }
}
