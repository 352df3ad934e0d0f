//! What the numbers in an event's body stand for.

use hearthward_equipment::{Address, Directory, FurnaceId, Name, PointId, UnitAddress, UnitId};
use hearthward_supervise::plan::ShopPlan;
use serde::{Deserialize, Serialize};

/// The names behind the numbers of furnaces, units and points.
///
/// Numbers are places in the lists of one configuration. They are kept with the plan that was in force, so that an event of last
/// year still names the right furnace after the shop was rearranged.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Names {
    /// The furnaces in order of their numbers.
    pub furnaces: Vec<Name>,
    /// The units and points in order of their numbers.
    pub directory: Directory,
}

impl Names {
    /// The names of a plan.
    #[must_use]
    pub fn of(plan: &ShopPlan) -> Self {
        Self { furnaces: plan.furnaces.iter().map(|furnace| furnace.name.clone()).collect(), directory: plan.directory.clone() }
    }

    /// The furnace's name.
    #[must_use]
    pub fn furnace(&self, id: FurnaceId) -> Option<&Name> {
        self.furnaces.get(id.index())
    }

    /// The unit's address.
    #[must_use]
    pub fn unit(&self, id: UnitId) -> Option<&UnitAddress> {
        self.directory.unit_address(id)
    }

    /// The point's address.
    #[must_use]
    pub fn point(&self, id: PointId) -> Option<&Address> {
        self.directory.point_address(id)
    }
}
