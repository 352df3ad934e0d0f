//! Steel in the furnace and in the temper.

use hearthward_process::furnace::Furnace;
use hearthward_process::heating::{Section, Shape, Surface};
use hearthward_process::plan;
use hearthward_process::plan::{Answer, HeatQuestion, RampWish, TemperQuestion};
use hearthward_process::span::Span;
use hearthward_process::steel::Steel;
use hearthward_process::tempering::{Temper, USUAL_MIN, USUAL_TIMES};
use hearthward_process::units::{self, Ramp, System};
use hearthward_proto::v1;
use uom::si::f64::{Mass, TemperatureInterval, ThermodynamicTemperature, Time};
use uom::si::temperature_interval::kelvin;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::minute;

use super::asked::{Asked, CELSIUS, HRC, KELVIN, KELVIN_A_MINUTE, KILOGRAMS, MILLIMETRES, MINUTES, Result, Unplanned, WATTS};
use super::gas;

/// Heats that a chamber with steel in it may have: up to what the gas tables cover, below the melting range of any steel.
pub(super) const HEAT_C: (f64, f64) = (20.0, 1250.0);

/// Carbon that steels have, as far as the arithmetic of lost carbon goes.
pub(super) const CARBON_PERCENT: (f64, f64) = (0.05, 3.0);

/// Answers [`v1::PlanHeatUpRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn heat_up(request: &v1::PlanHeatUpRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let steel = named(&request.steel)?;
    let section = section(&mut asked, request.section.as_ref())?;
    let heat = heat(&mut asked, request.heat_c, steel, (50.0, HEAT_C.1))?;
    let room = asked.room(request.room_c)?;
    let start_range = (-20.0, heat.get::<degree_celsius>() - 1.0);
    let start = asked.may(&CELSIUS, "start_c", request.start_c, start_range)?.unwrap_or(room);
    let soak = match (asked.may(&MINUTES, "soak_min", request.soak_min, (0.0, 1e4))?, steel) {
        (Some(soak), _) => soak,
        (None, Some(steel)) => {
            let least = steel.soak_for(section.size).map_err(|error| Unplanned::of("section.size_mm", &error))?.least;
            asked.take(format!("the shortest soak that {} asks for: {}", steel.grade, units::show_time(least)));
            least
        }
        (None, None) => Time::default(),
    };
    let question = HeatQuestion {
        section,
        surface: Surface::of_load(request.protected),
        start,
        heat,
        band: asked.or(&KELVIN, "band_k", (request.band_k, 5.0), (0.1, 100.0), "soak begins with the core within")?,
        soak,
        ramp: request.ramp.as_ref().map(|wish| ramp(&mut asked, wish, heat, room)).transpose()?,
    };
    let answer = plan::heat(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// Answers [`v1::PlanTemperRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn temper(request: &v1::PlanTemperRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let steel = named(&request.steel)?;
    let wanted = asked.may(&HRC, "hardness_hrc", request.hardness_hrc, HARDNESS_HRC)?;
    let temperature = match (request.temperature_c, wanted, steel) {
        (Some(_), Some(_), _) => return Err(Unplanned::field("hardness_hrc", "contradicts temperature_c: give one of them")),
        (None, Some(hrc), Some(steel)) => tempered(steel, hrc)?,
        (None, Some(_), None) => return Err(Unplanned::field("steel", "must be given with hardness_hrc")),
        (given, None, _) => asked.must(&CELSIUS, "temperature_c", given, TEMPER_C)?,
    };
    if let Some(steel) = steel {
        above_the_begin(steel, temperature, asked.system)?;
    }
    let times = match request.tempers {
        0 => {
            asked.take("two tempers (common practice, no source)");
            USUAL_TIMES
        }
        times @ 1..=10 => times as usize,
        times => return Err(Unplanned::field("tempers", format!("are {times}; 1 to 10 are worked out"))),
    };
    let question = TemperQuestion {
        tempers: vec![Temper { temperature, time: temper_time(&mut asked, request.time_min)? }; times],
        steel,
        instead: asked.may(&MINUTES, "instead_min", request.instead_min, (1.0, 6e4))?,
    };
    let answer = plan::temper(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// The most tempers of a row: more than any steel asks for.
const TEMPERS: usize = 10;

/// The shop's own tempers of a whole load.
pub(super) fn tempers(asked: &mut Asked, steel: &Steel, tempers: &[v1::PlanTemper]) -> Result<Vec<Temper>> {
    if tempers.len() > TEMPERS {
        return Err(Unplanned::field("tempers", format!("are {}; at most {TEMPERS} are worked out", tempers.len())));
    }
    let one = |(place, temper): (usize, &v1::PlanTemper)| {
        let mut read = || {
            let temperature = asked.need(&CELSIUS, "temperature_c", temper.temperature_c, TEMPER_C)?;
            above_the_begin(steel, temperature, asked.system)?;
            Ok(Temper { temperature, time: temper_time(asked, temper.time_min)? })
        };
        read().map_err(|why: Unplanned| why.within(&format!("tempers[{place}]")))
    };
    tempers.iter().enumerate().map(one).collect()
}

/// Temperatures that anybody tempers at, °C.
const TEMPER_C: (f64, f64) = (20.0, 750.0);

fn temper_time(asked: &mut Asked, minutes: Option<f64>) -> Result<Time> {
    asked.or(&MINUTES, "time_min", (minutes, USUAL_MIN), (1.0, 6e4), "each temper's time")
}

/// Refuses a temper below where the steel's curve begins: it would be none.
fn above_the_begin(steel: &Steel, temperature: ThermodynamicTemperature, system: System) -> Result<()> {
    let begins = steel.tempering.first().map(|point| ThermodynamicTemperature::new::<degree_celsius>(point.temper_c));
    let Some(begins) = begins.filter(|begins| temperature < *begins && steel.hardness_after(temperature).is_err()) else {
        return Ok(());
    };
    let [said, begins] = [temperature, begins].map(|t| units::show_temperature(t, system));
    let why = format!("is {said}; the tempering curve of {} begins at {begins}, and nothing is tempered below", steel.grade);
    Err(Unplanned::field("temperature_c", why))
}

/// Hardnesses that anybody asks for.
pub(super) const HARDNESS_HRC: (f64, f64) = (20.0, 70.0);

/// The temper for a hardness, where the steel's curve passes it.
pub(super) fn tempered(steel: &Steel, hrc: f64) -> Result<ThermodynamicTemperature> {
    steel.temper_for(hrc).ok_or_else(|| {
        let Span { least: low, most: high } = steel.tempered_hrc();
        let grade = steel.grade;
        let why = format!("is {hrc} HRC, which the tempering curve of {grade} does not pass; it runs from {low} to {high} HRC, and there is no source beyond");
        Unplanned::field("hardness_hrc", why)
    })
}

/// The steel of a name; none of an empty one.
pub(super) fn named(grade: &str) -> Result<Option<&'static Steel>> {
    if grade.is_empty() {
        return Ok(None);
    }
    Steel::named(grade).map(Some).map_err(|error| Unplanned::of("steel", &error))
}

/// A heat that was said, or the middle of the steel's range.
pub(super) fn heat(
    asked: &mut Asked,
    celsius: Option<f64>,
    steel: Option<&'static Steel>,
    range: (f64, f64),
) -> Result<ThermodynamicTemperature> {
    let Some(steel) = steel else { return asked.must(&CELSIUS, "heat_c", celsius, range) };
    let usual_c = steel.usual_heat().get::<degree_celsius>();
    let heat = asked.or(&CELSIUS, "heat_c", (celsius, usual_c), range, &format!("the middle of {}'s range", steel.grade))?;
    if let Some(note) = steel.judged(heat, asked.system).map_err(|error| Unplanned::of("heat_c", &error))? {
        asked.warn(note);
    }
    Ok(heat)
}

pub(super) fn section(asked: &mut Asked, section: Option<&v1::PlanSection>) -> Result<Section> {
    let section = section.copied().unwrap_or_default();
    let size = asked.need(&MILLIMETRES, "section.size_mm", section.size_mm, (0.1, 500.0))?;
    let shape = match section.shape() {
        v1::SectionShape::Unspecified => {
            asked.take("the section is a plate, and its size is its thickness");
            Shape::Plate
        }
        v1::SectionShape::Plate => Shape::Plate,
        v1::SectionShape::Bar => Shape::Bar,
        v1::SectionShape::Sphere => Shape::Sphere,
    };
    Ok(Section { shape, size })
}

/// A ramp and its furnace. Loss and capacity follow from what people can see on theirs: the power that holds the heat, and how
/// fast it begins to fall once that power is cut.
pub(super) fn ramp(
    asked: &mut Asked,
    wish: &v1::PlanRamp,
    heat: ThermodynamicTemperature,
    room: ThermodynamicTemperature,
) -> Result<RampWish> {
    let read = |asked: &mut Asked| {
        let rate = asked.need(&KELVIN_A_MINUTE, "rate_k_min", wish.rate_k_min, (0.01, 100.0))?;
        let holding = asked.need(&WATTS, "holding_w", wish.holding_w, (1.0, 1e7))?;
        let falls = asked.need(&KELVIN_A_MINUTE, "falls_k_min", wish.falls_k_min, (0.01, 500.0))?;
        let furnace = Furnace {
            rated: asked.need(&WATTS, "rated_w", wish.rated_w, (1.0, 1e7))?,
            ..Furnace::of_holding(holding, a_minute(falls), heat, room).map_err(|error| Unplanned::of("holding_w", &error))?
        };
        let (gas, flow) = gas::flowing(asked, &wish.gas, wish.flow_l_min)?;
        Ok(RampWish {
            furnace,
            ramp: a_minute(rate),
            load: match asked.may(&KILOGRAMS, "load_kg", wish.load_kg, (0.0, 1e4))? {
                Some(load) => load,
                None => {
                    asked.take("the load weighs nothing beside the furnace");
                    Mass::default()
                }
            },
            gas,
            flow,
        })
    };
    read(asked).map_err(|why: Unplanned| why.within("ramp"))
}

/// A rate in kelvin a minute.
pub(super) fn a_minute(rate_k_min: f64) -> Ramp {
    Ramp { rise: TemperatureInterval::new::<kelvin>(rate_k_min), within: Time::new::<minute>(1.0) }
}
