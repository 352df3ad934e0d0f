//! How long steel takes to come to heat, and when its soak really begins.
//!
//! Radiation does most of it, so the surface decides: scaled steel (emissivity 0.8) heats twice as fast as bright steel
//! under gas (0.3). Where the Biot number is small the section is at one temperature (lumped); where not, the lumped
//! time is stretched by the ratio that the eigenvalue series gives for the same Biot number. Against a real furnace
//! expect 30 to 50 %: emissivity and the shading of parts by each other are guesses.
//!
//! ```
//! use hearthward_process::heating::{Section, Surface, Surroundings, time_to};
//! use hearthward_process::units;
//!
//! let iron = Section::plate(units::length("3 mm")?)?;
//! let (cold, there) = (units::temperature("25 C")?, units::temperature("795 C")?);
//! let took = |surface| -> hearthward_process::Result<String> {
//!     let furnace = Surroundings::furnace(units::temperature("800 C")?, surface);
//!     Ok(units::show_time(time_to(iron, cold, there, &furnace)?.lumped))
//! };
//! assert_eq!(took(Surface::Scaled)?, "4.9 min");
//! assert_eq!(took(Surface::Bright)?, "12 min");
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod conduction;
mod lumped;
mod ramp;
mod series;

pub use conduction::{CoreHeating, core_by_conduction};
pub(crate) use lumped::Body;
pub use ramp::come_to_heat_on_ramp;
pub use series::Shape;

use crate::constants::{SIGMA, STEEL_KG_M3};
use crate::error::{Result, within};
use crate::note::Note;
use crate::si;
use crate::thermal::{self, HeatCapacity};
use uom::si::f64::{HeatTransfer, Length, Ratio, TemperatureInterval, ThermodynamicTemperature, Time};

/// A section of steel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Its shape.
    pub shape: Shape,
    /// Thickness of a plate, diameter of a bar or sphere.
    pub size: Length,
}

/// The surface that takes up radiation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Surface {
    /// Scaled or oxidised: emissivity 0.8.
    Scaled,
    /// Bright under gas: 0.3, so that it heats more slowly.
    Bright,
    /// Of a known emissivity.
    Emissivity(Ratio),
}

/// The furnace around a section that sees nothing but its walls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surroundings {
    /// The temperature of walls and gas.
    pub temperature: ThermodynamicTemperature,
    /// The surface of the steel.
    pub surface: Surface,
    /// The coefficient of convection; [`Surroundings::CONVECTION_W_M2_K`] for a small chamber without a fan.
    pub convection: HeatTransfer,
    /// Which heat capacity the steel shows.
    pub capacity: HeatCapacity,
}

/// How a section comes to heat.
#[derive(Debug, Clone, PartialEq)]
pub struct CameToHeat {
    /// The time until the core is within its band.
    pub time: Time,
    /// The time if the whole section were at one temperature.
    pub lumped: Time,
    /// The Biot number on volume over area at furnace temperature: below 0.1 the section counts as one temperature.
    pub biot: Ratio,
    /// What the number rests on.
    pub notes: Vec<Note>,
}

impl Surface {
    /// The emissivity.
    pub fn emissivity(self) -> Ratio {
        match self {
            Self::Scaled => si::fraction(0.8),
            Self::Bright => si::fraction(0.3),
            Self::Emissivity(value) => value,
        }
    }

    /// The surface to plan with: bright where gas, foil or coating keeps it bright, scaled where nothing does.
    pub const fn of_load(protected: bool) -> Self {
        if protected { Self::Bright } else { Self::Scaled }
    }
}

impl Surroundings {
    /// Natural convection in a small hot chamber, W/(m² K): 10 to 20, common practice, no source.
    pub const CONVECTION_W_M2_K: f64 = 10.0;

    /// A furnace at a temperature around steel of a surface, with natural convection and the heating curve.
    pub fn furnace(temperature: ThermodynamicTemperature, surface: Surface) -> Self {
        let convection = HeatTransfer::new::<uom::si::heat_transfer::watt_per_square_meter_kelvin>(Self::CONVECTION_W_M2_K);
        Self { temperature, surface, convection, capacity: HeatCapacity::Heating }
    }

    /// The coefficient of radiation and convection together, close to the furnace's temperature.
    fn coefficient_w_m2_k(&self) -> f64 {
        let t_k = si::kelvin(self.temperature);
        4.0 * self.surface.emissivity().value * SIGMA * t_k * t_k * t_k + self.convection.value
    }

    fn flux_w_m2(&self) -> impl Fn(f64) -> f64 + use<> {
        let hot_k = si::kelvin(self.temperature);
        let (radiation, convection) = (self.surface.emissivity().value * SIGMA, self.convection.value);
        move |t_c| {
            let t_k = t_c + si::ICE_K;
            // Factored, so that nothing cancels close to the furnace's temperature.
            (hot_k - t_k) * (radiation * (hot_k + t_k) * (hot_k * hot_k + t_k * t_k) + convection)
        }
    }

    fn checked(&self) -> Result<f64> {
        within("the emissivity", self.surface.emissivity().value, "", 0.01, 1.0)?;
        within("the coefficient of convection", self.convection.value, "W/(m² K)", 0.0, 1e4)?;
        within("the furnace's temperature", si::celsius(self.temperature), "°C", 50.0, 1300.0)
    }
}

impl Section {
    /// A plate of a thickness.
    ///
    /// # Errors
    /// A thickness outside 0.1 to 500 mm.
    pub fn plate(thickness: Length) -> Result<Self> {
        Self { shape: Shape::Plate, size: thickness }.checked()
    }

    /// A round bar of a diameter.
    ///
    /// # Errors
    /// A diameter outside 0.1 to 500 mm.
    pub fn bar(diameter: Length) -> Result<Self> {
        Self { shape: Shape::Bar, size: diameter }.checked()
    }

    /// Volume over surface.
    pub(crate) fn volume_over_area_m(&self) -> f64 {
        self.size.value / 2.0 / self.shape.factor()
    }

    pub(crate) fn checked(self) -> Result<Self> {
        within("the size of the section", self.size.value * 1e3, "mm", 0.1, 500.0)?;
        Ok(self)
    }
}

/// The time until the core of a section comes within a band of the furnace's temperature: when soak begins.
///
/// The furnace is taken to hold its temperature, and to see the section from all sides; a load that fills the chamber
/// takes longer, and a furnace that sags under it longer still ([`crate::furnace`]).
///
/// # Errors
/// Values outside their ranges; a band outside 0.01 K to all the way from the start.
pub fn come_to_heat(
    section: Section,
    start: ThermodynamicTemperature,
    furnace: &Surroundings,
    band: TemperatureInterval,
) -> Result<CameToHeat> {
    let section = section.checked()?;
    let furnace_c = furnace.checked()?;
    let start_c = within("the start", si::celsius(start), "°C", -50.0, furnace_c - 1e-3)?;
    let band_k = within("the band", si::difference_k(band), "K", 0.01, furnace_c - start_c)?;
    time_to_within(section, start_c, furnace, furnace_c, band_k)
}

/// The time until the core is at a temperature below the furnace's.
///
/// # Errors
/// Values outside their ranges; a target that is not between start and furnace.
pub fn time_to(
    section: Section,
    start: ThermodynamicTemperature,
    target: ThermodynamicTemperature,
    furnace: &Surroundings,
) -> Result<CameToHeat> {
    let section = section.checked()?;
    let furnace_c = furnace.checked()?;
    let start_c = within("the start", si::celsius(start), "°C", -50.0, furnace_c - 1e-3)?;
    let target_c = within("the target", si::celsius(target), "°C", start_c, furnace_c - 1e-3)?;
    time_to_within(section, start_c, furnace, furnace_c, furnace_c - target_c)
}

/// The temperature of a thin section after a time in the furnace.
///
/// # Errors
/// Values outside their ranges, a negative time.
pub fn temperature_after(
    section: Section,
    start: ThermodynamicTemperature,
    furnace: &Surroundings,
    time: Time,
) -> Result<ThermodynamicTemperature> {
    let section = section.checked()?;
    let equilibrium_c = furnace.checked()?;
    let start_c = within("the start", si::celsius(start), "°C", -50.0, 1300.0)?;
    let time_s = within("the time", time.value, "s", 0.0, 1e7)?;
    Ok(si::from_celsius(body(section, furnace, equilibrium_c).after_c(start_c, time_s)))
}

/// The temperature of a thin section a short time later: one exponential step with what flows at its beginning.
///
/// For a live estimate that is carried from moment to moment, where the furnace may change at each. It never passes the furnace's
/// temperature, however long the step; with steps of a second it stays within a kelvin of [`temperature_after`] but at the peak of the
/// heat capacity, where it may be a few kelvins off for a while.
///
/// # Errors
/// Values outside their ranges: a furnace of -50 to 1300 °C, a start of -50 to 1300 °C, a negative time.
pub fn step_on(
    section: Section,
    start: ThermodynamicTemperature,
    furnace: &Surroundings,
    time: Time,
) -> Result<ThermodynamicTemperature> {
    let section = section.checked()?;
    let around_c = within("the furnace's temperature", si::celsius(furnace.temperature), "°C", -50.0, 1300.0)?;
    let start_c = within("the start", si::celsius(start), "°C", -50.0, 1300.0)?;
    let time_s = within("the time", time.value, "s", 0.0, 1e7)?;
    let (hot_k, t_k) = (around_c + si::ICE_K, start_c + si::ICE_K);
    let radiation = furnace.surface.emissivity().value * SIGMA * (hot_k + t_k) * (hot_k * hot_k + t_k * t_k);
    let coefficient = radiation + furnace.convection.value;
    let pace = coefficient / (STEEL_KG_M3 * section.volume_over_area_m() * furnace.capacity.j_kg_k(start_c));
    Ok(si::from_celsius(around_c - (around_c - start_c) * libm::exp(-pace * time_s)))
}

/// The Biot number of a section in a furnace, on volume over area, with the conductivity at the furnace's temperature.
///
/// # Errors
/// Values outside their ranges.
pub fn biot(section: Section, furnace: &Surroundings) -> Result<Ratio> {
    let furnace_c = furnace.checked()?;
    let length_m = section.checked()?.volume_over_area_m();
    Ok(si::fraction(furnace.coefficient_w_m2_k() * length_m / thermal::conductivity_w_m_k(furnace_c)))
}

fn time_to_within(section: Section, start_c: f64, furnace: &Surroundings, furnace_c: f64, band_k: f64) -> Result<CameToHeat> {
    let target_c = furnace_c - band_k;
    let lumped_s = body(section, furnace, furnace_c).time_s(start_c, target_c).unwrap_or(0.0);
    let biot = biot(section, furnace)?;
    let mut notes =
        vec![Note::basis("radiation from walls all around and natural convection; expect 30 to 50 % against a real furnace")];
    let mut time_s = lumped_s;
    if biot.value > LUMPED_BIOT {
        let half = si::fraction(biot.value * section.shape.factor());
        let theta = si::fraction(band_k / (furnace_c - start_c));
        if let Some(fourier) = section.shape.fourier_for(half, theta)? {
            let lumped = -libm::log(theta.value) / (section.shape.factor() * half.value);
            time_s *= (fourier.value / lumped).max(1.0);
            notes.push(Note::basis("the core lags: lumped time stretched by the eigenvalue series at the same Biot number"));
        }
    }
    if furnace_c > 1200.0 {
        notes.push(Note::outside("the heat capacity of EN 1993-1-2 ends at 1200 °C; its last value is held"));
    }
    if furnace.capacity == HeatCapacity::Heating {
        notes.push(Note::basis("EN 1993-1-2 heat capacity of carbon steel, with its stop near 735 °C"));
    }
    Ok(CameToHeat { time: si::seconds(time_s), lumped: si::seconds(lumped_s), biot, notes })
}

/// Biot number on volume over area from which the core's lag is counted: the texts allow 0.1; a fifth of it costs nothing.
const LUMPED_BIOT: f64 = 0.02;

fn body(section: Section, furnace: &Surroundings, equilibrium_c: f64) -> Body<impl Fn(f64) -> f64 + use<>> {
    Body {
        kg_m2: STEEL_KG_M3 * section.volume_over_area_m(),
        capacity: furnace.capacity,
        equilibrium_c,
        flux_w_m2: furnace.flux_w_m2(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    fn took(size: &str, surface: Surface) -> f64 {
        let furnace = Surroundings::furnace(units::temperature("800 C").unwrap(), surface);
        let plate = Section::plate(units::length(size).unwrap()).unwrap();
        time_to(plate, units::temperature("25 C").unwrap(), units::temperature("795 C").unwrap(), &furnace).unwrap().time.value
    }

    #[test]
    fn bright_steel_heats_more_slowly_and_thick_never_faster() {
        assert!(took("3 mm", Surface::Bright) > 2.0 * took("3 mm", Surface::Scaled));
        assert!(took("6 mm", Surface::Scaled) > took("3 mm", Surface::Scaled));
    }

    #[test]
    fn a_bar_heats_faster_than_a_plate_of_its_size_and_reaches_what_it_reaches() {
        let furnace = Surroundings::furnace(units::temperature("800 C").unwrap(), Surface::Scaled);
        let size = units::length("12 mm").unwrap();
        let (cold, there) = (units::temperature("25 C").unwrap(), units::temperature("790 C").unwrap());
        let took = |section| time_to(section, cold, there, &furnace).unwrap().lumped;
        let (bar, plate) = (Section::bar(size).unwrap(), Section::plate(size).unwrap());
        assert!((took(plate) / took(bar) - uom::si::f64::Ratio::from(2.0)).value.abs() < 1e-9);
        let back = temperature_after(bar, cold, &furnace, took(bar)).unwrap();
        assert!((back.value - there.value).abs() < 1e-6);
    }

    #[test]
    fn steps_of_a_second_follow_the_exact_course_and_a_long_one_ends_at_the_furnace() {
        let furnace = Surroundings::furnace(units::temperature("800 C").unwrap(), Surface::Bright);
        let plate = Section::plate(units::length("3 mm").unwrap()).unwrap();
        let cold = units::temperature("21 C").unwrap();
        let mut stepped = cold;
        for second in 1..=900_u32 {
            stepped = step_on(plate, stepped, &furnace, si::seconds(1.0)).unwrap();
            let exact = temperature_after(plate, cold, &furnace, si::seconds(f64::from(second))).unwrap();
            assert!((stepped.value - exact.value).abs() < 3.0, "{stepped:?} after {second} s, not {exact:?}");
        }
        let whole = step_on(plate, cold, &furnace, si::seconds(1e6)).unwrap();
        assert!((whole.value - furnace.temperature.value).abs() < 1e-9);
        let cooling = Surroundings { temperature: cold, ..furnace };
        assert!(step_on(plate, whole, &cooling, si::seconds(60.0)).unwrap() < whole);
    }

    #[test]
    fn a_target_above_the_furnace_is_refused() {
        let furnace = Surroundings::furnace(units::temperature("800 C").unwrap(), Surface::Scaled);
        let plate = Section::plate(units::length("3 mm").unwrap()).unwrap();
        let answer = time_to(plate, units::temperature("25 C").unwrap(), units::temperature("810 C").unwrap(), &furnace);
        assert!(answer.unwrap_err().to_string().contains("810 °C"));
    }
}
