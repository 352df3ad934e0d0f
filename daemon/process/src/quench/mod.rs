//! The bath: how much it warms, how many parts it takes, how it comes back, and how hot it may get.
//!
//! An energy balance without losses: what the steel gives up down to the final temperature of both, the oil takes. The
//! steel's heat is that of the heating curve at furnace temperature, less what it lost as austenite on the way.
//! The curve ends at 1200 °C; above, its last value is held. Against a real bath expect 5 to 10 %: martensite does not hold quite the heat that the heating curve says.
//!
//! Hot oil burns people and catches fire. Keep the bulk well below its flash point, the whole part under, a lid and an
//! extinguisher for oil at hand, and never any water in the tank: it turns to steam under the oil and throws it out.
//!
//! ```
//! use hearthward_process::quench::{Bath, Hot};
//! use hearthward_process::units::{self, System};
//!
//! let bath = Bath::oil(units::volume("12 L")?, units::temperature("48 C")?)?;
//! let iron = Hot::straight(units::mass("0.216 kg")?, units::temperature("780 C")?);
//! assert_eq!(units::show_temperature(bath.after(&iron)?, System::Metric), "54 °C");
//! assert_eq!(bath.parts_before(&iron, units::temperature("70 C")?)?, 3);
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod oil;
mod pulls;

pub use oil::{OilSpeed, Suits, WINDOWS, Window, WindowUnit, suits};
pub use pulls::{MOST_PARTS, Pull, Pulls, waiting};

use crate::error::{Result, impossible, within};
use crate::note::Note;
use crate::numeric::root;
use crate::si;
use crate::thermal;
use uom::si::f64::{
    Energy, Mass, MassDensity, Power, SpecificHeatCapacity, TemperatureInterval, ThermodynamicTemperature, Time, Volume,
};
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::specific_heat_capacity::joule_per_kilogram_kelvin;

/// A bath of a liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bath {
    volume_m3: f64,
    kg_m3: f64,
    j_kg_k: f64,
    t_c: f64,
}

/// Steel on its way into a bath.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hot {
    /// The mass of steel that goes in together.
    pub mass: Mass,
    /// The temperature that it was soaked at.
    pub soaked: ThermodynamicTemperature,
    /// The temperature at which it enters: lower, by what it lost in air.
    pub entering: ThermodynamicTemperature,
}

/// The margin between a bath and its flash point.
#[derive(Debug, Clone, PartialEq)]
pub struct FlashMargin {
    /// Flash point less bath.
    pub margin: TemperatureInterval,
    /// The margin to keep.
    pub wanted: TemperatureInterval,
    /// Whether it is kept.
    pub kept: bool,
    /// Cautions.
    pub notes: Vec<Note>,
}

impl Bath {
    /// A bath of a liquid.
    ///
    /// # Errors
    /// A volume outside 0.1 to 100 000 L, a density outside 500 to 2000 kg/m³, a heat capacity outside 500 to 5000
    /// J/(kg K), a temperature outside -20 to 300 °C.
    pub fn new(
        volume: Volume,
        density: MassDensity,
        heat: SpecificHeatCapacity,
        temperature: ThermodynamicTemperature,
    ) -> Result<Self> {
        Ok(Self {
            volume_m3: within("the volume of the bath", volume.value * 1e3, "L", 0.1, 1e5)? / 1e3,
            kg_m3: within("the density of the bath", density.value, "kg/m³", 500.0, 2000.0)?,
            j_kg_k: within("the heat capacity of the bath", heat.value, "J/(kg K)", 500.0, 5000.0)?,
            t_c: within("the temperature of the bath", si::celsius(temperature), "°C", COLDEST_C, HOTTEST_C)?,
        })
    }

    /// Mineral quench oil: 870 kg/m³ and 1884 J/(kg K) (0.45 Btu/lb °F, from a published column on the one-gallon rule).
    ///
    /// # Errors
    /// As for [`Bath::new`].
    pub fn oil(volume: Volume, temperature: ThermodynamicTemperature) -> Result<Self> {
        Self::of(volume, 870.0, 1884.0, temperature)
    }

    /// Water: 998 kg/m³ and 4186 J/(kg K).
    ///
    /// # Errors
    /// As for [`Bath::new`].
    pub fn water(volume: Volume, temperature: ThermodynamicTemperature) -> Result<Self> {
        Self::of(volume, 998.0, 4186.0, temperature)
    }

    /// The same bath at another temperature.
    ///
    /// # Errors
    /// A temperature outside -20 to 300 °C.
    pub fn at(&self, temperature: ThermodynamicTemperature) -> Result<Self> {
        Ok(Self { t_c: within("the temperature of the bath", si::celsius(temperature), "°C", COLDEST_C, HOTTEST_C)?, ..*self })
    }

    /// The temperature.
    pub fn temperature(&self) -> ThermodynamicTemperature {
        si::from_celsius(self.t_c)
    }

    /// The volume.
    pub fn volume(&self) -> Volume {
        si::cubic_metres(self.volume_m3)
    }

    /// The temperature after steel has given it all its heat and both are at one temperature.
    ///
    /// # Errors
    /// Steel that is colder than the bath, hotter than 1300 °C, or enters hotter than it was soaked; a mass outside 0 to
    /// 10 t.
    pub fn after(&self, steel: &Hot) -> Result<ThermodynamicTemperature> {
        let mass_kg = within("the mass of steel", steel.mass.value, "kg", 0.0, 1e4)?;
        let hot_j_kg = steel.heat_j_kg(self.t_c)?;
        let capacity_j_k = self.capacity_j_k();
        let off = |t_c: f64| mass_kg * (hot_j_kg - thermal::enthalpy_j_kg(t_c)) - capacity_j_k * (t_c - self.t_c);
        let end_c = root(self.t_c, si::celsius(steel.soaked), 1e-10, off)
            .ok_or_else(|| impossible("the bath after a quench", "the steel gives no heat to the bath".to_owned()))?;
        Ok(si::from_celsius(end_c))
    }

    /// The temperatures after each of several equal parts, one after another with no cooling between.
    ///
    /// The last is warmer than after all at once, since each earlier part left with less heat in it.
    ///
    /// # Errors
    /// As for [`Bath::after`]; more than [`MOST_COUNTED`] parts.
    pub fn after_each(&self, part: &Hot, parts: u32) -> Result<Vec<ThermodynamicTemperature>> {
        within("the number of parts", f64::from(parts), "", 0.0, f64::from(MOST_COUNTED))?;
        let mut bath = *self;
        (0..parts)
            .map(|_| {
                bath = bath.at(bath.after(part)?)?;
                Ok(bath.temperature())
            })
            .collect()
    }

    /// How many equal parts fit in a row before the bath passes the top of its window; at most [`MOST_COUNTED`].
    ///
    /// # Errors
    /// As for [`Bath::after`].
    pub fn parts_before(&self, part: &Hot, top: ThermodynamicTemperature) -> Result<u32> {
        self.after(part)?;
        let mut starts = self.starts_before(part, si::celsius(top))?;
        let holds = |_: &u32| starts.next().is_some_and(|start_c| start_c >= self.t_c);
        Ok((0..MOST_COUNTED).take_while(holds).count() as u32)
    }

    /// The bath temperature from which so many parts end just at the top of the window; `None` if even -20 °C is too warm.
    ///
    /// # Errors
    /// As for [`Bath::after`]; more than [`MOST_COUNTED`] parts.
    pub fn start_for(&self, part: &Hot, parts: u32, top: ThermodynamicTemperature) -> Result<Option<ThermodynamicTemperature>> {
        let top_c = within("the top of the window", si::celsius(top), "°C", COLDEST_C, HOTTEST_C)?;
        within("the number of parts", f64::from(parts), "", 0.0, f64::from(MOST_COUNTED))?;
        self.after(part)?;
        let start_c = self.start_c(part, parts, top_c)?;
        Ok((start_c >= COLDEST_C).then(|| si::from_celsius(start_c)))
    }

    /// The volume of bath, from the same start, in which so many parts end just at the top of the window.
    ///
    /// # Errors
    /// As for [`Bath::start_for`]; a start at or above the top; no bath up to 100 000 L.
    pub fn volume_for(&self, part: &Hot, parts: u32, top: ThermodynamicTemperature) -> Result<Volume> {
        let top_c = within("the top of the window", si::celsius(top), "°C", self.t_c + 1e-3, HOTTEST_C)?;
        within("the number of parts", f64::from(parts), "", 0.0, f64::from(MOST_COUNTED))?;
        self.after(part)?;
        let off = |litres: f64| {
            let bath = Self { volume_m3: litres / 1e3, ..*self };
            bath.start_c(part, parts, top_c).map_or(f64::NAN, |start_c| start_c - self.t_c)
        };
        let litres = root(0.1, 1e5, 1e-9, off)
            .ok_or_else(|| impossible("the volume of bath for a load", "no bath up to 100 000 L is large enough".to_owned()))?;
        Ok(si::cubic_metres(litres / 1e3))
    }

    /// The heat to take out so that one more part ends at the top of the window; zero if it does anyway.
    ///
    /// # Errors
    /// As for [`Bath::start_for`].
    pub fn heat_to_remove(&self, part: &Hot, top: ThermodynamicTemperature) -> Result<Option<Energy>> {
        let start = self.start_for(part, 1, top)?;
        Ok(start.map(|start| si::joules((self.capacity_j_k() * (self.t_c - si::celsius(start))).max(0.0))))
    }

    /// The heat that brings the bath, and a steel tank if one counts, from its temperature to another.
    ///
    /// # Errors
    /// A temperature outside -20 to 300 °C, a shell outside 0 to 10 t.
    pub fn heat_to(&self, to: ThermodynamicTemperature, shell: Mass) -> Result<Energy> {
        let to_c = within("the temperature to come to", si::celsius(to), "°C", COLDEST_C, HOTTEST_C)?;
        let shell_j_k = within("the shell of the tank", shell.value, "kg", 0.0, 1e4)? * SHELL_J_KG_K;
        Ok(si::joules((self.capacity_j_k() + shell_j_k) * (to_c - self.t_c)))
    }

    /// The mass of hot scrap that warms the bath and its tank to a temperature, quenched in it.
    ///
    /// # Errors
    /// As for [`Bath::heat_to`]; scrap not hotter than the target or hotter than 1300 °C.
    pub fn scrap_to(&self, to: ThermodynamicTemperature, scrap: ThermodynamicTemperature, shell: Mass) -> Result<Mass> {
        let needed_j = self.heat_to(to, shell)?.value.max(0.0);
        let scrap_c = within("the temperature of the scrap", si::celsius(scrap), "°C", si::celsius(to) + 1.0, 1300.0)?;
        Ok(si::kilograms(needed_j / (thermal::enthalpy_j_kg(scrap_c) - thermal::enthalpy_j_kg(si::celsius(to)))))
    }

    /// The time that a heater takes to a temperature, without losses; `None` without power.
    ///
    /// # Errors
    /// As for [`Bath::heat_to`].
    pub fn time_to(&self, to: ThermodynamicTemperature, heater: Power, shell: Mass) -> Result<Option<Time>> {
        let needed_j = self.heat_to(to, shell)?.value.max(0.0);
        Ok((heater.value > 0.0).then(|| si::seconds(needed_j / heater.value)))
    }

    /// The time to cool back to the top of the window, from the time constant of this tank in its room.
    ///
    /// Newton's law: `t = τ ln((T - T_room)/(T_top - T_room))`. `None` if the room is not cooler than the window. Find τ
    /// with [`time_constant`] from two readings; it differs with the lid and the agitation.
    ///
    /// # Errors
    /// A time constant outside 1 min to 30 days.
    pub fn back_to(&self, top: ThermodynamicTemperature, room: ThermodynamicTemperature, constant: Time) -> Result<Option<Time>> {
        let constant_s = within("the time constant of the tank", constant.value / 60.0, "min", 1.0, 43_200.0)? * 60.0;
        let (over, allowed) = (self.t_c - si::celsius(room), si::celsius(top) - si::celsius(room));
        if over <= allowed {
            return Ok(Some(si::seconds(0.0)));
        }
        Ok((allowed > 0.0).then(|| si::seconds(constant_s * libm::log(over / allowed))))
    }

    /// The margin to the flash point of an open bath, to be at least 50 K, or 35 K under a cover of inert gas.
    ///
    /// 50 and 35 K: common practice, from memory. A limit switch at 27.8 K (50 °F) under the flash point is Washington
    /// Administrative Code 296-835-13005; a difference of 50 °F is not 10 °C, as that page misprints it.
    ///
    /// # Errors
    /// A flash point outside 60 to 400 °C.
    pub fn flash_margin(&self, flash_point: ThermodynamicTemperature, covered: bool) -> Result<FlashMargin> {
        let flash_c = within("the flash point", si::celsius(flash_point), "°C", 60.0, 400.0)?;
        let (margin_k, wanted_k) = (flash_c - self.t_c, if covered { 35.0 } else { 50.0 });
        let mut notes = vec![Note::caution(
            "hot oil burns and catches fire: a lid and an extinguisher for oil at hand, no water in the tank",
        )];
        if margin_k < wanted_k {
            notes.push(Note::caution("too close to the flash point: no further part, let it cool"));
        }
        Ok(FlashMargin { margin: si::difference(margin_k), wanted: si::difference(wanted_k), kept: margin_k >= wanted_k, notes })
    }

    fn of(volume: Volume, kg_m3: f64, j_kg_k: f64, temperature: ThermodynamicTemperature) -> Result<Self> {
        let density = MassDensity::new::<kilogram_per_cubic_meter>(kg_m3);
        Self::new(volume, density, SpecificHeatCapacity::new::<joule_per_kilogram_kelvin>(j_kg_k), temperature)
    }

    fn capacity_j_k(&self) -> f64 {
        self.volume_m3 * self.kg_m3 * self.j_kg_k
    }

    /// The start of a row of quenches that ends at `end_c`. What lies below the coldest bath is too cold; by how much does not matter.
    fn start_c(&self, part: &Hot, parts: u32, end_c: f64) -> Result<f64> {
        let mut start_c = end_c;
        for before_c in self.starts_before(part, end_c)?.take(parts as usize) {
            start_c = before_c;
            if start_c < COLDEST_C {
                break;
            }
        }
        Ok(start_c)
    }

    /// The bath before the last part of a row that ends at `end_c`, before the last but one, and so on.
    ///
    /// Told from its end, a quench needs no root: the heat that the steel keeps is known. Steel that would be colder than the
    /// bath gives it nothing.
    fn starts_before(&self, part: &Hot, end_c: f64) -> Result<impl Iterator<Item = f64>> {
        let hot_j_kg = part.heat_j_kg(self.t_c)?;
        let share_k_kg_j = part.mass.value / self.capacity_j_k();
        let before = move |end_c: &f64| Some(end_c - share_k_kg_j * (hot_j_kg - thermal::enthalpy_j_kg(*end_c)).max(0.0));
        Ok(std::iter::successors(before(&end_c), before))
    }
}

impl Hot {
    /// Steel that enters as it left the soak.
    pub fn straight(mass: Mass, soaked: ThermodynamicTemperature) -> Self {
        Self { mass, soaked, entering: soaked }
    }

    /// Heat over 20 °C: the heating curve's at the soak, less what the austenite lost in air.
    fn heat_j_kg(&self, bath_c: f64) -> Result<f64> {
        let soaked_c = within("the temperature of the soak", si::celsius(self.soaked), "°C", bath_c, 1300.0)?;
        let entering_c = within("the temperature on entering", si::celsius(self.entering), "°C", bath_c, soaked_c)?;
        Ok(thermal::enthalpy_j_kg(soaked_c) - thermal::AUSTENITE_J_KG_K * (soaked_c - entering_c))
    }
}

/// The time constant of a tank that cooled from one reading to another in a room.
///
/// # Errors
/// Readings that do not fall towards the room, a time outside 1 min to 30 days.
pub fn time_constant(
    first: ThermodynamicTemperature,
    second: ThermodynamicTemperature,
    room: ThermodynamicTemperature,
    between: Time,
) -> Result<Time> {
    let time_s = within("the time between the readings", between.value / 60.0, "min", 1.0, 43_200.0)? * 60.0;
    let (before, after) = (si::celsius(first) - si::celsius(room), si::celsius(second) - si::celsius(room));
    if !(before > after && after > 0.0) {
        return Err(impossible("the time constant of a tank", "its readings do not fall towards the room".to_owned()));
    }
    Ok(si::seconds(time_s / libm::log(before / after)))
}

/// What a pair of cold plates warms to when it takes all the heat of a part: quenching air-hardening steel.
///
/// Plates of aluminium: 900 J/(kg K) (handbook value, from memory). They should stay cool enough to touch the part closely
/// and to be handled with gloves; a light press keeps thin parts flat.
///
/// # Errors
/// Plates outside 0.01 kg to 1 t, steel outside 20 to 1300 °C.
pub fn plates_after(plates: Mass, plates_at: ThermodynamicTemperature, part: &Hot) -> Result<ThermodynamicTemperature> {
    let kg = within("the mass of the plates", plates.value, "kg", 0.01, 1000.0)?;
    let start_c = within("the temperature of the plates", si::celsius(plates_at), "°C", -20.0, 200.0)?;
    let mass_kg = within("the mass of steel", part.mass.value, "kg", 0.0, 1e4)?;
    let hot_j_kg = part.heat_j_kg(start_c)?;
    let off = |t_c: f64| mass_kg * (hot_j_kg - thermal::enthalpy_j_kg(t_c)) - kg * ALUMINIUM_J_KG_K * (t_c - start_c);
    let end = root(start_c, si::celsius(part.soaked), 1e-9, off);
    end.map(si::from_celsius)
        .ok_or_else(|| impossible("plates after a quench", "the steel gives no heat to the plates".to_owned()))
}

/// The most parts of a row that are counted: many times what anybody pulls of one load.
pub const MOST_COUNTED: u32 = 1000;
/// The coldest bath that is reckoned with, °C: oil in a winter's yard.
const COLDEST_C: f64 = -20.0;
/// The hottest bath of oil that is reckoned with, °C: above the flash point of most quench oils.
pub(crate) const HOTTEST_C: f64 = 300.0;
/// Heat capacity of a steel tank, cold: EN 1993-1-2 near room temperature, rounded.
const SHELL_J_KG_K: f64 = 460.0;
const ALUMINIUM_J_KG_K: f64 = 900.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    fn iron() -> Hot {
        Hot::straight(units::mass("0.2162 kg").unwrap(), si::from_celsius(780.0))
    }

    #[test]
    fn heat_is_neither_made_nor_lost() {
        let bath = Bath::oil(units::volume("12 L").unwrap(), si::from_celsius(48.0)).unwrap();
        let end_c = si::celsius(bath.after(&iron()).unwrap());
        let given = 0.2162 * (thermal::enthalpy_j_kg(780.0) - thermal::enthalpy_j_kg(end_c));
        let taken = 0.012 * 870.0 * 1884.0 * (end_c - 48.0);
        assert!((given / taken - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_tank_cools_by_its_own_time_constant() {
        let (hot, warm, room) = (si::from_celsius(80.0), si::from_celsius(60.0), si::from_celsius(20.0));
        let constant = time_constant(hot, warm, room, units::time("1 h").unwrap()).unwrap();
        let bath = Bath::oil(units::volume("12 L").unwrap(), hot).unwrap();
        let back = bath.back_to(warm, room, constant).unwrap().unwrap();
        assert!((back.value - 3600.0).abs() < 1e-6);
    }

    #[test]
    fn steel_colder_than_the_bath_is_refused() {
        let bath = Bath::oil(units::volume("12 L").unwrap(), si::from_celsius(48.0)).unwrap();
        let cold = Hot::straight(units::mass("1 kg").unwrap(), si::from_celsius(30.0));
        assert!(bath.after(&cold).unwrap_err().to_string().contains("30 °C; it must lie between 48"));
    }

    #[test]
    fn plates_take_what_the_part_gives() {
        let part = Hot::straight(units::mass("0.2 kg").unwrap(), si::from_celsius(960.0));
        let plates = units::mass("4 kg").unwrap();
        let end_c = si::celsius(plates_after(plates, si::from_celsius(20.0), &part).unwrap());
        let given = 0.2 * (thermal::enthalpy_j_kg(960.0) - thermal::enthalpy_j_kg(end_c));
        assert!((given / (4.0 * 900.0 * (end_c - 20.0)) - 1.0).abs() < 1e-9);
        assert!(end_c < 60.0, "twenty times its mass of aluminium stays cool enough: {end_c}");
    }

    #[test]
    fn too_close_to_the_flash_point_is_said() {
        let bath = Bath::oil(units::volume("12 L").unwrap(), si::from_celsius(140.0)).unwrap();
        let margin = bath.flash_margin(si::from_celsius(180.0), false).unwrap();
        assert!(!margin.kept && margin.notes.len() == 2);
    }
}
