//! From the door to the bath: how far a section falls in still air, and how many seconds it has.
//!
//! Both faces radiate to the room and lose heat by natural convection on an upright plate (Churchill and Chu, all Rayleigh
//! numbers; *Fundamentals of Heat and Mass Transfer*, equation 9.26). Austenite that cools in seconds does not
//! transform, so its heat capacity is 650 J/(kg K); the heating curve brackets slow cooling. The drop is good to 20 %.
//!
//! Thin edges fall first. An edge alone at its own thickness is the cold bound, the whole at the back's thickness the hot
//! one; [`taper`] works out what lies between.

mod taper;

pub use taper::{Taper, TaperAfter, taper};

use crate::constants::{GRAVITY, SIGMA, STEEL_KG_M3};
use crate::error::{Result, within};
use crate::gas::Gas;
use crate::heating::{Body, Section, Surface};
use crate::note::Note;
use crate::si;
use crate::thermal::HeatCapacity;
use uom::si::f64::{HeatTransfer, Length, TemperatureInterval, ThermodynamicTemperature, Time};
use uom::si::heat_transfer::watt_per_square_meter_kelvin;

/// The still air of the room around a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StillAir {
    /// Room temperature.
    pub temperature: ThermodynamicTemperature,
    /// The surface of the part.
    pub surface: Surface,
    /// The height of the part as it hangs; convection depends on it a little.
    pub height: Length,
    /// Which heat capacity the steel shows.
    pub capacity: HeatCapacity,
}

/// A part after some seconds in air.
#[derive(Debug, Clone, PartialEq)]
pub struct InAir {
    /// Its temperature.
    pub temperature: ThermodynamicTemperature,
    /// How far it fell.
    pub drop: TemperatureInterval,
    /// The rate at which it began to fall, kelvin a second.
    pub first_rate: TemperatureInterval,
    /// What the number rests on.
    pub notes: Vec<Note>,
}

impl StillAir {
    /// A room at a temperature around a scaled part of 50 mm height.
    pub fn room(temperature: ThermodynamicTemperature) -> Self {
        Self { temperature, surface: Surface::Scaled, height: si::metres(0.05), capacity: HeatCapacity::Austenite }
    }

    /// The coefficient of radiation at a temperature of the steel.
    ///
    /// # Errors
    /// Values outside their ranges.
    pub fn radiation(&self, steel: ThermodynamicTemperature) -> Result<HeatTransfer> {
        self.checked()?;
        Ok(HeatTransfer::new::<watt_per_square_meter_kelvin>(self.radiation_w_m2_k(checked_steel(steel)?)))
    }

    /// The coefficient of natural convection at a temperature of the steel.
    ///
    /// # Errors
    /// Values outside their ranges.
    pub fn convection(&self, steel: ThermodynamicTemperature) -> Result<HeatTransfer> {
        self.checked()?;
        Ok(HeatTransfer::new::<watt_per_square_meter_kelvin>(self.convection_w_m2_k(checked_steel(steel)?)))
    }

    fn radiation_w_m2_k(&self, steel_c: f64) -> f64 {
        let (hot_k, cold_k) = (steel_c + si::ICE_K, si::kelvin(self.temperature));
        self.surface.emissivity().value * SIGMA * (hot_k + cold_k) * (hot_k * hot_k + cold_k * cold_k)
    }

    fn convection_w_m2_k(&self, steel_c: f64) -> f64 {
        let (room_k, height_m) = (si::kelvin(self.temperature), self.height.value);
        let over_k = (steel_c + si::ICE_K - room_k).max(0.0);
        let film_k = room_k + over_k / 2.0;
        let film = Gas::Air.film(film_k);
        let kinematic = film.viscosity_pa_s / film.density_kg_m3;
        let diffusivity = film.conductivity_w_m_k / (film.density_kg_m3 * film.heat_j_kg_k);
        let rayleigh = GRAVITY / film_k * over_k * height_m * height_m * height_m / (kinematic * diffusivity);
        let prandtl = kinematic / diffusivity;
        let shape = libm::pow(1.0 + libm::pow(0.492 / prandtl, 9.0 / 16.0), 8.0 / 27.0);
        let root = 0.825 + 0.387 * libm::pow(rayleigh, 1.0 / 6.0) / shape;
        root * root * film.conductivity_w_m_k / height_m
    }

    pub(crate) fn coefficient_w_m2_k(&self, steel_c: f64) -> f64 {
        self.radiation_w_m2_k(steel_c) + self.convection_w_m2_k(steel_c)
    }

    pub(crate) fn checked(&self) -> Result<f64> {
        within("the emissivity", self.surface.emissivity().value, "", 0.01, 1.0)?;
        within("the height of the part", self.height.value * 1e3, "mm", 5.0, 2000.0)?;
        within("the room's temperature", si::celsius(self.temperature), "°C", -30.0, 60.0)
    }

    fn body(&self, section: Section) -> Body<impl Fn(f64) -> f64 + '_> {
        let room_c = si::celsius(self.temperature);
        Body {
            kg_m2: STEEL_KG_M3 * section.volume_over_area_m(),
            capacity: self.capacity,
            equilibrium_c: room_c,
            flux_w_m2: move |t_c| self.coefficient_w_m2_k(t_c) * (room_c - t_c),
        }
    }
}

/// A section after a time in still air.
///
/// # Errors
/// A section outside 0.1 to 500 mm, a start outside the room's temperature to 1300 °C, a negative time.
pub fn after(section: Section, start: ThermodynamicTemperature, time: Time, air: &StillAir) -> Result<InAir> {
    let section = section.checked()?;
    let room_c = air.checked()?;
    let start_c = within("the temperature at the door", si::celsius(start), "°C", room_c, 1300.0)?;
    let time_s = within("the time in air", time.value, "s", 0.0, 1e6)?;
    let end_c = air.body(section).after_c(start_c, time_s);
    let capacity = air.capacity.j_kg_k(start_c) * STEEL_KG_M3 * section.volume_over_area_m();
    Ok(InAir {
        temperature: si::from_celsius(end_c),
        drop: si::difference(start_c - end_c),
        first_rate: si::difference(air.coefficient_w_m2_k(start_c) * (start_c - room_c) / capacity),
        notes: notes(section, air),
    })
}

/// The seconds that a section has in still air until it has fallen to a limit; none if it is there already.
///
/// # Errors
/// As for [`after`]; a limit not above the room's temperature.
pub fn seconds_until(
    section: Section,
    start: ThermodynamicTemperature,
    limit: ThermodynamicTemperature,
    air: &StillAir,
) -> Result<Option<Time>> {
    let section = section.checked()?;
    let room_c = air.checked()?;
    let start_c = within("the temperature at the door", si::celsius(start), "°C", room_c, 1300.0)?;
    let limit_c = within("the limit", si::celsius(limit), "°C", room_c + 0.1, 1300.0)?;
    if limit_c >= start_c {
        return Ok(None);
    }
    Ok(air.body(section).time_s(start_c, limit_c).map(si::seconds))
}

fn notes(section: Section, air: &StillAir) -> Vec<Note> {
    let mut notes = vec![Note::basis(
        "still air, radiation and natural convection; edges and draughts fall faster; good to 20 % of the drop",
    )];
    if section.volume_over_area_m() > 0.0125 {
        notes.push(Note::outside("over 25 mm the skin falls faster than the mean that is worked out here"));
    }
    if air.capacity == HeatCapacity::Heating {
        notes.push(Note::bound(
            "the heating curve's heat capacity: the slow side of the bracket for steel that transforms on the way",
        ));
    }
    notes
}

fn checked_steel(steel: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature of the steel", si::celsius(steel), "°C", -30.0, 1300.0)
}
