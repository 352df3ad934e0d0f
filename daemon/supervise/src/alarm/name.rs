//! The names of alarms: `furnace/north/over-temperature`, `tank/oil/bath-near-flash`, `unit/bench/north/unit-lost`,
//! `shop/record-failing`.

use hearthward_equipment::{FurnaceId, TankId, UnitId};

use super::{AlarmKey, AlarmKind, AlarmSource, OF_FURNACE, OF_SHOP, alarm_entry};
use crate::plan::ShopPlan;

/// The word of a kind, as it stands in names and in the configuration: `over-temperature`.
fn word(kind: AlarmKind) -> String {
    alarm_entry(kind).id.replace('_', "-")
}

/// The kind of a word such as `over-temperature`.
#[must_use]
pub fn alarm_kind_of(text: &str) -> Option<AlarmKind> {
    let others = [AlarmKind::BathNearFlash, AlarmKind::UnitLost];
    OF_FURNACE.into_iter().chain(OF_SHOP).chain(others).find(|&kind| word(kind) == text)
}

/// Every alarm that this shop has, in the order of furnaces, tanks, units and the shop itself, with its name.
pub fn alarm_names(plan: &ShopPlan) -> impl Iterator<Item = (AlarmKey, String)> + '_ {
    AlarmKey::all(plan).map(|key| (key, key.name(plan)))
}

impl AlarmKey {
    /// Every alarm that a shop has: those of furnaces first, then of tanks, of units and of the shop itself.
    pub(crate) fn all(plan: &ShopPlan) -> impl Iterator<Item = Self> + '_ {
        let furnaces = (0..number(plan.furnaces.len())).flat_map(|place| {
            OF_FURNACE.into_iter().map(move |kind| Self { source: AlarmSource::Furnace(FurnaceId(place)), kind })
        });
        let tanks = (0..number(plan.tanks.len()))
            .map(|place| Self { source: AlarmSource::Tank(TankId(place)), kind: AlarmKind::BathNearFlash });
        let units = (0..number(plan.directory.units().len()))
            .map(|place| Self { source: AlarmSource::Unit(UnitId(place)), kind: AlarmKind::UnitLost });
        let shop = OF_SHOP.into_iter().map(|kind| Self { source: AlarmSource::Shop, kind });
        furnaces.chain(tanks).chain(units).chain(shop)
    }

    /// The name that people and programs call it by.
    #[must_use]
    pub fn name(self, plan: &ShopPlan) -> String {
        let kind = word(self.kind);
        match self.source {
            AlarmSource::Shop => format!("shop/{kind}"),
            AlarmSource::Furnace(_) => format!("furnace/{}/{kind}", self.place(plan)),
            AlarmSource::Tank(_) => format!("tank/{}/{kind}", self.place(plan)),
            AlarmSource::Unit(_) => format!("unit/{}/{kind}", self.place(plan)),
        }
    }

    /// The alarm of that name.
    #[must_use]
    pub fn find(plan: &ShopPlan, name: &str) -> Option<Self> {
        Self::all(plan).find(|key| key.name(plan) == name)
    }

    /// Where it is, for people.
    #[must_use]
    pub fn place(self, plan: &ShopPlan) -> String {
        let place = match self.source {
            AlarmSource::Shop => None,
            AlarmSource::Furnace(id) => plan.furnace(id).map(|furnace| furnace.name.to_string()),
            AlarmSource::Tank(id) => plan.tanks.get(id.index()).map(|tank| tank.name.to_string()),
            AlarmSource::Unit(id) => plan.directory.unit_address(id).map(ToString::to_string),
        };
        place.unwrap_or_else(|| "the shop".to_owned())
    }
}

/// Plans are bounded far below this.
fn number(count: usize) -> u16 {
    u16::try_from(count).unwrap_or(u16::MAX)
}
