//! The tank around the bath: how far the level rises, and whether the part goes under.
//!
//! Steel displaces its volume (cold; hot steel is 3 to 4 % larger), and oil swells by 7.0e-4 of its volume per kelvin
//! (mineral quench oils 6.4e-4 to 8e-4, from memory; good to 10 % of the rise). Foam and splash are not counted: leave
//! room for them, hot oil over the rim is a fire.

use crate::constants::STEEL_KG_M3;
use crate::error::{Result, within};
use crate::note::Note;
use crate::si;
use uom::si::f64::{Area, Length, Mass, ThermodynamicTemperature, Volume};

/// A tank of straight walls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// The free surface of the oil.
    pub surface: Area,
    /// The volume of oil at the start.
    pub oil: Volume,
    /// From the oil at the start up to the rim.
    pub freeboard: Length,
}

/// How the level moves.
#[derive(Debug, Clone, PartialEq)]
pub struct Rise {
    /// By the steel that goes in.
    pub displacement: Length,
    /// By the oil that warms.
    pub expansion: Length,
    /// Both.
    pub total: Length,
    /// The volume that the oil grows by.
    pub growth: Volume,
    /// The volume of the steel.
    pub steel: Volume,
    /// Whether it stays under the rim.
    pub stays_in: bool,
    /// Cautions.
    pub notes: Vec<Note>,
}

/// Share of its volume that mineral oil grows by per kelvin.
const EXPANSION_PER_K: f64 = 7.0e-4;

impl Vessel {
    /// The depth of the oil.
    pub fn depth(&self) -> Length {
        si::metres(self.oil.value / self.surface.value)
    }

    /// The rise of the level when steel goes in and the oil warms.
    ///
    /// # Errors
    /// A surface outside 1 cm² to 100 m², oil outside 0.1 L to 100 m³, steel outside 0 to 10 t, oil temperatures outside
    /// -20 to 300 °C.
    pub fn rise(&self, steel: Mass, from: ThermodynamicTemperature, to: ThermodynamicTemperature) -> Result<Rise> {
        let surface_m2 = within("the surface of the oil", self.surface.value * 1e4, "cm²", 1.0, 1e6)? / 1e4;
        let oil_m3 = within("the volume of oil", self.oil.value * 1e3, "L", 0.1, 1e5)? / 1e3;
        let steel_m3 = within("the mass of steel", steel.value, "kg", 0.0, 1e4)? / STEEL_KG_M3;
        let from_c = within("the oil's temperature", si::celsius(from), "°C", -20.0, 300.0)?;
        let to_c = within("the oil's temperature", si::celsius(to), "°C", -20.0, 300.0)?;
        let growth_m3 = oil_m3 * EXPANSION_PER_K * (to_c - from_c);
        let total_m = (steel_m3 + growth_m3) / surface_m2;
        let stays_in = total_m < self.freeboard.value;
        let mut notes = vec![Note::basis("volumes only; foam and splash need room of their own")];
        if !stays_in {
            notes.push(Note::caution("the oil would come over the rim: take some out, or quench less at a time"));
        }
        Ok(Rise {
            displacement: si::metres(steel_m3 / surface_m2),
            expansion: si::metres(growth_m3 / surface_m2),
            total: si::metres(total_m),
            growth: si::cubic_metres(growth_m3),
            steel: si::cubic_metres(steel_m3),
            stays_in,
            notes,
        })
    }

    /// How much oil stands over a part that hangs upright in the tank, with a clearance under it; `None` if it sticks out.
    ///
    /// The whole part must be under, tongs apart: a part that sticks out burns the vapour over the oil.
    ///
    /// # Errors
    /// A length or clearance outside 0 to 5 m.
    pub fn cover(&self, part: Length, clearance: Length) -> Result<Option<Length>> {
        within("the length of the part", part.value, "m", 0.0, 5.0)?;
        within("the clearance", clearance.value, "m", 0.0, 5.0)?;
        let over = self.depth() - part - clearance;
        Ok((over.value > 0.0).then_some(over))
    }
}

/// The density of oil at a temperature, from that at another.
///
/// # Errors
/// Temperatures outside -20 to 300 °C.
pub fn oil_density(
    density: uom::si::f64::MassDensity,
    from: ThermodynamicTemperature,
    to: ThermodynamicTemperature,
) -> Result<uom::si::f64::MassDensity> {
    let from_c = within("the oil's temperature", si::celsius(from), "°C", -20.0, 300.0)?;
    let to_c = within("the oil's temperature", si::celsius(to), "°C", -20.0, 300.0)?;
    Ok(density / si::fraction(1.0 + EXPANSION_PER_K * (to_c - from_c)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn a_full_tank_overflows_and_a_long_part_sticks_out() {
        let tank = Vessel {
            surface: units::area("300 cm2").unwrap(),
            oil: units::volume("8 L").unwrap(),
            freeboard: units::length("3 mm").unwrap(),
        };
        let rise = tank.rise(units::mass("0.2 kg").unwrap(), si::from_celsius(48.0), si::from_celsius(70.0)).unwrap();
        assert!(!rise.stays_in && rise.notes.len() == 2);
        assert!(tank.cover(units::length("300 mm").unwrap(), units::length("10 mm").unwrap()).unwrap().is_none());
        assert!(tank.cover(units::length("180 mm").unwrap(), units::length("10 mm").unwrap()).unwrap().is_some());
    }
}
