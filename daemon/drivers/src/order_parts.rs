//! Stands in for the order's getters until `supervise` has them; its own methods then take precedence.
use hearthward_equipment::{FurnaceId, Generation, ShopMs};
use hearthward_supervise::interlock::{HeatOrder, Means};
pub(crate) trait OrderParts {
    fn furnace(&self) -> FurnaceId;
    fn means(&self) -> &Means;
    fn generation(&self) -> Generation;
    fn expires(&self) -> ShopMs;
}
impl OrderParts for HeatOrder {
    fn furnace(&self) -> FurnaceId {
        unreachable!("no order can be made yet")
    }
    fn means(&self) -> &Means {
        unreachable!("no order can be made yet")
    }
    fn generation(&self) -> Generation {
        unreachable!("no order can be made yet")
    }
    fn expires(&self) -> ShopMs {
        unreachable!("no order can be made yet")
    }
}
