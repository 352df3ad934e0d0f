//! The shop's numbered list of units and points, so that the core can work with small numbers instead of names.

use serde::{Deserialize, Serialize};

use crate::address::{Address, UnitAddress};

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub struct $name(pub u16);

        impl $name {
            /// The place in its list.
            #[must_use]
            pub fn index(self) -> usize {
                usize::from(self.0)
            }
        }
    };
}

id!(
    /// A furnace: its place in the shop plan.
    FurnaceId
);
id!(
    /// A quench tank: its place in the shop plan.
    TankId
);
id!(
    /// A gas supply: its place in the shop plan.
    SupplyId
);
id!(
    /// A unit behind a driver: its place in the [`Directory`].
    UnitId
);
id!(
    /// A point: its place in the [`Directory`].
    PointId
);
id!(
    /// A point whose writing can make a furnace heat. It is a type of its own so that no other write can name it; its number
    /// is that of the point in the [`Directory`].
    HeatPointId
);

/// Every unit and point that the shop uses, numbered by place.
///
/// Built once from the configuration and what the drivers say of themselves; the host and the core share it and never change it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Directory {
    units: Vec<UnitAddress>,
    points: Vec<Address>,
}

impl Directory {
    /// The number of a unit, given now if it has none yet.
    ///
    /// # Panics
    /// With more than 65 535 units, which no configuration within its limits can reach.
    pub fn unit(&mut self, address: &UnitAddress) -> UnitId {
        let place = self.units.iter().position(|known| known == address).unwrap_or_else(|| {
            self.units.push(address.clone());
            self.units.len() - 1
        });
        UnitId(u16::try_from(place).expect("the configuration bounds the number of units"))
    }

    /// The number of a point, given now if it has none yet; its unit gets one too.
    ///
    /// # Panics
    /// With more than 65 535 points, which no configuration within its limits can reach.
    pub fn point(&mut self, address: &Address) -> PointId {
        self.unit(&address.unit);
        let place = self.points.iter().position(|known| known == address).unwrap_or_else(|| {
            self.points.push(address.clone());
            self.points.len() - 1
        });
        PointId(u16::try_from(place).expect("the configuration bounds the number of points"))
    }

    /// The unit's address, if there is such a unit.
    #[must_use]
    pub fn unit_address(&self, unit: UnitId) -> Option<&UnitAddress> {
        self.units.get(unit.index())
    }

    /// The point's address, if there is such a point.
    #[must_use]
    pub fn point_address(&self, point: PointId) -> Option<&Address> {
        self.points.get(point.index())
    }

    /// The number of a unit that is already listed.
    #[must_use]
    pub fn find_unit(&self, address: &UnitAddress) -> Option<UnitId> {
        let place = self.units.iter().position(|known| known == address)?;
        u16::try_from(place).ok().map(UnitId)
    }

    /// The number of a point that is already listed.
    #[must_use]
    pub fn find_point(&self, address: &Address) -> Option<PointId> {
        let place = self.points.iter().position(|known| known == address)?;
        u16::try_from(place).ok().map(PointId)
    }

    /// All units in order of their numbers.
    #[must_use]
    pub fn units(&self) -> &[UnitAddress] {
        &self.units
    }

    /// All points in order of their numbers.
    #[must_use]
    pub fn points(&self) -> &[Address] {
        &self.points
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_address_keeps_its_number() {
        let mut directory = Directory::default();
        let door: Address = "io/north.door-open".parse().expect("an address");
        let flow: Address = "by-hand/north-meter.flow".parse().expect("an address");
        let first = directory.point(&door);
        let second = directory.point(&flow);
        assert_ne!(first, second);
        assert_eq!(directory.point(&door), first);
        assert_eq!(directory.find_point(&flow), Some(second));
        assert_eq!(directory.units().len(), 2);
        assert_eq!(directory.point_address(first), Some(&door));
    }
}
