//! Several parts of one load, pulled one after another: what waits cools through the open door, and the bath warms.
//!
//! What waits radiates to the opening: `F` is the share of its view that the opening takes, averaged over its faces. Walls
//! stay at furnace temperature and no draught comes in: both flatter the waiting part. `F = 1` is the floor, as if it
//! stood in the room without convection; 0.1 to 0.3 a part among others facing the opening (no source).

use super::{Bath, HOTTEST_C, Hot};
use crate::constants::{SIGMA, STEEL_KG_M3};
use crate::error::{Result, within};
use crate::heating::{Body, Section};
use crate::si;
use crate::thermal::HeatCapacity;
use crate::transfer::{self, StillAir};
use uom::si::f64::{Mass, Ratio, ThermodynamicTemperature, Time};

/// A row of pulls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pulls {
    /// The section of each part.
    pub section: Section,
    /// The mass of each part.
    pub mass: Mass,
    /// How many.
    pub parts: u32,
    /// The temperature of the furnace, at which all were soaked.
    pub furnace: ThermodynamicTemperature,
    /// The share of a waiting part's view that the opening takes.
    pub view: Ratio,
    /// How long the door is open at each pull, before the part leaves.
    pub open: Time,
    /// How long it is shut between pulls.
    pub shut: Time,
    /// From the door to under the oil.
    pub in_air: Time,
}

/// One pull of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// The part as it leaves the furnace.
    pub leaving: ThermodynamicTemperature,
    /// The part as it enters the bath.
    pub entering: ThermodynamicTemperature,
    /// The bath before.
    pub bath_before: ThermodynamicTemperature,
    /// The bath after.
    pub bath_after: ThermodynamicTemperature,
}

impl Pulls {
    /// Works out every pull, with the bath warming from part to part.
    ///
    /// Ends with the first pull that takes the bath above 300 °C, where no quench oil is a liquid to work with: fewer pulls
    /// than parts say that the load does not go into this bath.
    ///
    /// # Errors
    /// Values outside the ranges of the functions it stands on; more than [`MOST_PARTS`]; a view outside 0 to 1.
    pub fn run(&self, bath: &Bath, air: &StillAir) -> Result<Vec<Pull>> {
        within("the number of parts", f64::from(self.parts), "", 1.0, f64::from(MOST_PARTS))?;
        let mut bath = *bath;
        let mut steel = self.furnace;
        let mut pulls: Vec<Pull> = Vec::with_capacity(self.parts as usize);
        for _ in 0..self.parts {
            steel = waiting(self.section, steel, self.furnace, air.temperature, self.view, self.open)?;
            let entering = transfer::after(self.section, steel, self.in_air, air)?.temperature;
            let after = bath.after(&Hot { mass: self.mass, soaked: self.furnace, entering })?;
            pulls.push(Pull { leaving: steel, entering, bath_before: bath.temperature(), bath_after: after });
            if si::celsius(after) > HOTTEST_C {
                break;
            }
            bath = bath.at(after)?;
            steel = waiting(self.section, steel, self.furnace, air.temperature, si::fraction(0.0), self.shut)?;
        }
        Ok(pulls)
    }
}

/// The most parts of a row: at half a minute each the last has then soaked for as long again as most steels may. Common practice, no
/// source.
pub const MOST_PARTS: u32 = 40;

/// A part that waits in the furnace while a share of its view is the open door; with no share it warms back.
///
/// Radiation alone, emissivity 0.8, austenite's heat capacity.
///
/// # Errors
/// A share outside 0 to 1, a negative time, temperatures outside -30 to 1300 °C.
pub fn waiting(
    section: Section,
    steel: ThermodynamicTemperature,
    furnace: ThermodynamicTemperature,
    room: ThermodynamicTemperature,
    view: Ratio,
    time: Time,
) -> Result<ThermodynamicTemperature> {
    let section = section.checked()?;
    let open = within("the share of the view", view.value, "", 0.0, 1.0)?;
    let time_s = within("the time of waiting", time.value, "s", 0.0, 1e6)?;
    for (what, t) in [("the part's temperature", steel), ("the furnace's temperature", furnace), ("the room's temperature", room)]
    {
        within(what, si::celsius(t), "°C", -30.0, 1300.0)?;
    }
    let fourth = |t_k: f64| t_k * t_k * t_k * t_k;
    let around_k4 = open * fourth(si::kelvin(room)) + (1.0 - open) * fourth(si::kelvin(furnace));
    let equal_k = libm::sqrt(libm::sqrt(around_k4));
    let body = Body {
        kg_m2: STEEL_KG_M3 * section.volume_over_area_m(),
        capacity: HeatCapacity::Austenite,
        equilibrium_c: equal_k - si::ICE_K,
        flux_w_m2: |t_c: f64| {
            let t_k = t_c + si::ICE_K;
            EMISSIVITY * SIGMA * (equal_k - t_k) * (equal_k + t_k) * (equal_k * equal_k + t_k * t_k)
        },
    };
    Ok(si::from_celsius(body.after_c(si::celsius(steel), time_s)))
}

/// Scaled steel: what waits behind an open door is not bright for long.
const EMISSIVITY: f64 = 0.8;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn the_last_part_has_the_fewest_seconds() {
        let pulls = Pulls {
            section: Section::plate(units::length("1.5 mm").unwrap()).unwrap(),
            mass: units::mass("0.1 kg").unwrap(),
            parts: 4,
            furnace: si::from_celsius(800.0),
            view: si::fraction(0.3),
            open: units::time("2 s").unwrap(),
            shut: units::time("0 s").unwrap(),
            in_air: units::time("2 s").unwrap(),
        };
        let air = StillAir::room(si::from_celsius(25.0));
        let bath = Bath::oil(units::volume("12 L").unwrap(), si::from_celsius(48.0)).unwrap();
        let seconds_each = |pulls: &Pulls| -> Vec<f64> {
            let has = |pull: &Pull| transfer::seconds_until(pulls.section, pull.leaving, si::from_celsius(700.0), &air).unwrap();
            pulls.run(&bath, &air).unwrap().iter().map(|pull| has(pull).map_or(0.0, |time| time.value)).collect()
        };
        let seconds = seconds_each(&pulls);
        assert!(seconds.windows(2).all(|pair| pair[1] < pair[0]), "{seconds:?}");
        let shut = Pulls { shut: units::time("5 min").unwrap(), ..pulls };
        assert!(seconds_each(&shut)[3] > seconds[3], "a shut door warms them back");
    }
}
