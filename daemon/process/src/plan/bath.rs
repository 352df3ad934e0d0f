//! "What does the load do to my bath?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::note::Note;
use crate::quench::{Bath, HOTTEST_C, Hot, MOST_COUNTED, OilSpeed, Pull, Pulls, Suits, suits};
use crate::si;
use crate::span::Span;
use crate::steel::Steel;
use crate::steel::martensite::martensite;
use crate::transfer::{StillAir, seconds_until};
use crate::units::{self, System};
use crate::vessel::Vessel;
use uom::si::f64::{Area, Length, ThermodynamicTemperature, Time};

/// A load and the bath that is to take it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BathQuestion {
    /// The bath, of quench oil.
    pub bath: Bath,
    /// The working window of the bath.
    pub window: Span<ThermodynamicTemperature>,
    /// The flash point of the oil.
    pub flash_point: Option<ThermodynamicTemperature>,
    /// The parts, pulled one after another.
    pub pulls: Pulls,
    /// The room's air.
    pub air: StillAir,
    /// The steel, to see whether the section suits the oil.
    pub steel: Option<&'static Steel>,
    /// The speed of the oil.
    pub oil: OilSpeed,
    /// The tank, if level and cover are asked.
    pub tank: Option<TankAtHand>,
    /// The temperature that no part must fall below before it is under, if the last one's seconds are asked.
    pub limit: Option<ThermodynamicTemperature>,
    /// The time constant of the tank's cooling, if known.
    pub cooling: Option<Time>,
}

/// The tank around the bath.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TankAtHand {
    /// The free surface of the oil.
    pub surface: Area,
    /// From the oil up to the rim, if it was said.
    pub freeboard: Option<Length>,
    /// The length of a part as it hangs, if it was said.
    pub part: Option<Length>,
}

/// Answers what the load does to the bath; a load that would boil or light it is an answer too.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn bath(question: &BathQuestion, system: System) -> Result<Answer> {
    let BathQuestion { bath, pulls, .. } = question;
    let each = pulls.run(bath, &question.air)?;
    let (first, last) = (each.first(), each.last());
    let end = last.map_or(bath.temperature(), |pull| pull.bath_after);
    let count = if pulls.parts == 1 { "1 part".to_owned() } else { format!("{} parts", pulls.parts) };
    let mut answer = Answer::new(format!("{count} into {} of bath", units::show_volume(bath.volume(), system)));
    let (class, seconds) = question.oil.words();
    Writer::new(&mut answer, system).word("oil", "class of the oil", class, format!("{seconds} of the nickel-ball test"));
    let shown = |temperature| units::show_temperature(temperature, system);
    let between = format!("{} to {}", shown(question.window.least), shown(question.window.most));
    Writer::new(&mut answer, system).word("window", "window that it works in", between, "as said, or that of the oil's class");
    let holds = si::celsius(end) <= HOTTEST_C;
    if holds {
        Writer::new(&mut answer, system).temperature(
            "bath_after_c",
            "bath after the last",
            end,
            "energy balance, no cooling between",
        );
    }
    if let (Some(first), Some(last)) = (first, last) {
        row(&mut answer, question, (first, last), each.len(), system)?;
    }
    if let (Some(limit), Some(last)) = (question.limit, last) {
        last_seconds(&mut answer, question, (last, limit), system)?;
    }
    if si::celsius(pulls.furnace) > CURVE_ENDS_C {
        answer.take([Note::outside("the heat capacity of EN 1993-1-2 ends at 1200 °C; its last value is held")]);
    }
    let suits = suited(&mut answer, question)?;
    if holds {
        if let Some(steel) = suits {
            hardened(&mut answer, steel, end, system)?;
        }
        tank(&mut answer, question, end, system)?;
    }
    window(&mut answer, question, end, system)?;
    fire(&mut answer, question, end, system)?;
    if !holds {
        answer.warn_first(format!(
            "the bath would go above {}: do not quench this load, {count} of {}, into this bath of {}",
            units::show_temperature(si::from_celsius(HOTTEST_C), system),
            units::show_mass(pulls.mass, system),
            units::show_volume(bath.volume(), system)
        ));
    }
    Ok(answer)
}

/// The row of parts: what they enter at, how many the window holds, and what would hold them all.
fn row(answer: &mut Answer, question: &BathQuestion, (first, last): (&Pull, &Pull), taken: usize, system: System) -> Result<()> {
    let BathQuestion { bath, pulls, window, .. } = question;
    let mut write = Writer::new(answer, system);
    write.temperature("first_entering_c", "the first enters at", first.entering, "after waiting and air");
    if taken < pulls.parts as usize {
        let label = format!("part {taken} enters at");
        write.temperature("last_entering_c", &label, last.entering, "with it the bath is over: no further part is worked out");
    } else {
        write.temperature("last_entering_c", "the last enters at", last.entering, "after waiting behind the open door");
        waits(answer, question, system)?;
    }
    let mut write = Writer::new(answer, system);
    let part = Hot { mass: pulls.mass, soaked: pulls.furnace, entering: first.entering };
    let fit = bath.parts_before(&part, window.most)?;
    let basis = if fit < MOST_COUNTED { "each entering like the first" } else { "at least: no more are counted" };
    write.number("parts_that_fit", "parts before it passes its window", f64::from(fit), 4, basis);
    match bath.start_for(&part, pulls.parts, window.most)? {
        Some(start) if start >= window.least => {
            write.temperature("start_for_all_c", "bath start that would take them all", start, "at most");
        }
        _ => answer.warn("no start inside the window takes them all: quench fewer, let it cool between, or take more oil"),
    }
    if fit < pulls.parts
        && let Ok(volume) = bath.volume_for(&part, pulls.parts, window.most)
    {
        Writer::new(answer, system).volume(
            "volume_for_all_l",
            "bath that would take them all from here",
            volume,
            "energy balance, from its temperature now",
        );
    }
    if fit < pulls.parts {
        answer.warn(format!("the bath passes the top of its window after {fit} of {} parts", pulls.parts));
    }
    Ok(())
}

/// How much longer than the first the last of the row stays in the heat.
fn waits(answer: &mut Answer, question: &BathQuestion, system: System) -> Result<()> {
    let BathQuestion { pulls, steel, .. } = question;
    if pulls.parts < 2 {
        return Ok(());
    }
    let waits = (pulls.open + pulls.shut) * f64::from(pulls.parts - 1);
    Writer::new(answer, system).time("last_waits_s", "the last is pulled after the first by", waits, "door open and shut alone");
    if let Some(steel) = steel {
        let soak = steel.soak_for(pulls.section.size)?;
        let spare = soak.most - soak.least;
        if waits > spare {
            answer.warn(format!(
                "the last part soaks {} longer than the first, and the guidance for {} spans {}: fewer parts, or pull faster",
                units::show_time(waits),
                steel.grade,
                units::show_time(spare)
            ));
        }
    }
    Ok(())
}

/// The seconds that the last of the row has: it waited behind the open door, and has the fewest.
fn last_seconds(
    answer: &mut Answer,
    question: &BathQuestion,
    (last, limit): (&Pull, ThermodynamicTemperature),
    system: System,
) -> Result<()> {
    let BathQuestion { pulls, air, .. } = question;
    let shown = units::show_temperature(limit, system);
    match seconds_until(pulls.section, last.leaving, limit, air)? {
        Some(has) => {
            let basis = format!("still air, until it has fallen to {shown}");
            Writer::new(answer, system).time("last_has_s", "from the door, the last must be under within", has, basis);
            if has < pulls.in_air {
                answer.warn(
                    "the last part is below the limit before it is under: shut the door longer between pulls, or be quicker",
                );
            }
        }
        None => answer.warn(format!(
            "the last part has fallen to {shown} before it leaves the furnace: shut the door longer between pulls"
        )),
    }
    Ok(())
}

/// Where the oil stands against its window, before and after.
fn window(answer: &mut Answer, question: &BathQuestion, end: ThermodynamicTemperature, system: System) -> Result<()> {
    let (bath, Span { least: low, most: high }) = (&question.bath, question.window);
    let shown = |temperature| units::show_temperature(temperature, system);
    if bath.temperature() < low {
        let scrap = bath.scrap_to(low, question.pulls.furnace, si::kilograms(0.0))?;
        let mut write = Writer::new(answer, system);
        write.mass("scrap_kg", "hot scrap that would warm it", scrap, "quenched from the furnace's heat, no losses");
        answer.warn(format!(
            "the oil is too cold: {} is below its window of {} to {}; cold oil is slow and cracks parts",
            shown(bath.temperature()),
            shown(low),
            shown(high)
        ));
    }
    if bath.temperature() > high {
        answer.warn(format!(
            "the oil is too hot: {} is above its window of {} to {}; let it cool before the first part",
            shown(bath.temperature()),
            shown(low),
            shown(high)
        ));
    }
    if end <= high && question.cooling.is_some() {
        answer.take([Note::basis("the bath stays under the top of its window, so how fast it cools is not asked for")]);
    }
    if end > high
        && si::celsius(end) <= HOTTEST_C
        && let Some(constant) = question.cooling
        && let Some(time) = bath.at(end)?.back_to(high, question.air.temperature, constant)?
    {
        Writer::new(answer, system).time("back_s", "back in its window after", time, "the tank's own time constant");
    }
    Ok(())
}

/// Fire: always said, and first of all where the oil is or comes near its flash point.
fn fire(answer: &mut Answer, question: &BathQuestion, end: ThermodynamicTemperature, system: System) -> Result<()> {
    answer.warn_first("hot oil burns and catches fire: a lid and an extinguisher for oil at hand, no water in the tank");
    let start = question.bath.temperature();
    let Some(flash_point) = question.flash_point else {
        answer.warn("flash point not said: nobody can tell how close to it this comes; find it on the oil's data sheet");
        if si::celsius(end) > HOT_OIL_C {
            answer.warn_first(format!(
                "the bath would end above {}, and its flash point is not known: find it before anything goes in",
                units::show_temperature(si::from_celsius(HOT_OIL_C), system)
            ));
        }
        return Ok(());
    };
    let shown = |temperature| units::show_temperature(temperature, system);
    if start >= flash_point {
        answer.warn_first(format!(
            "{} is ABOVE the flash point of {}: nothing goes into this bath",
            shown(start),
            shown(flash_point)
        ));
        return Ok(());
    }
    if end >= flash_point {
        answer.warn_first(format!(
            "the bath would pass its flash point of {}: do not quench this load into it",
            shown(flash_point)
        ));
    }
    if si::celsius(end) > HOTTEST_C {
        return Ok(());
    }
    let margin = question.bath.at(end)?.flash_margin(flash_point, false)?;
    let least = units::show_temperature_difference(margin.wanted, system);
    let mut write = Writer::new(answer, system);
    write.difference("flash_margin_k", "margin to the flash point at the end", margin.margin, format!("at least {least}"));
    answer.take(margin.notes);
    Ok(())
}

/// The steel, if its table expects this section to harden in this oil.
fn suited(answer: &mut Answer, question: &BathQuestion) -> Result<Option<&'static Steel>> {
    let Some(steel) = question.steel else {
        return Ok(None);
    };
    let Some((needs, heaviest_mm)) = steel.oil else {
        answer.warn(format!("{} is not an oil-hardening steel: {}", steel.grade, steel.quench));
        return Ok(None);
    };
    Ok(match suits(question.oil, needs, heaviest_mm, question.pulls.section)? {
        Suits::Yes => Some(steel),
        Suits::No(notes) => {
            answer.take(notes);
            None
        }
    })
}

/// How much of the last part is martensite once it is as cool as the bath, where its composition tells where that begins.
///
/// The formula knows no time: it holds only for steel that the oil cools fast enough to keep austenite down to there.
fn hardened(answer: &mut Answer, steel: &Steel, end: ThermodynamicTemperature, system: System) -> Result<()> {
    match steel.composition.critical() {
        Ok(critical) => Writer::new(answer, system).share(
            "martensite_fraction",
            "martensite in the last part at the bath's temperature",
            martensite(critical.ms, end)?,
            "where the section suits the oil; Koistinen and Marburger, from Andrews' start; the rest forms on the way to the room, or stays austenite",
        ),
        Err(error) => answer.take([Note::basis(format!("no share of martensite is given for {}: {error}", steel.grade))]),
    }
    Ok(())
}

/// Level and cover, as far as the lengths for them were said.
fn tank(answer: &mut Answer, question: &BathQuestion, end: ThermodynamicTemperature, system: System) -> Result<()> {
    let Some(at) = question.tank else {
        return Ok(());
    };
    // Without a rim to come over, the rise alone is told.
    let freeboard = at.freeboard.unwrap_or(si::metres(f64::INFINITY));
    let vessel = Vessel { surface: at.surface, oil: question.bath.volume(), freeboard };
    let rise = vessel.rise(question.pulls.mass, question.bath.temperature(), end)?;
    let mut write = Writer::new(answer, system);
    write.length("level_rise_mm", "level rises by", rise.total, "one part at a time, and the oil that warms");
    answer.take(rise.notes);
    if at.freeboard.is_none() {
        answer.take([Note::basis("not said, so not answered: from the oil up to the rim, and whether it comes over")]);
    }
    let Some(part) = at.part else {
        answer.take([Note::basis("not said, so not answered: the length of a part, and whether the oil covers it")]);
        return Ok(());
    };
    match vessel.cover(part, si::metres(CLEARANCE_M))? {
        Some(over) => Writer::new(answer, system).length(
            "oil_over_part_mm",
            "oil over the part",
            over,
            "hanging upright, 20 mm off the bottom",
        ),
        None => answer.warn("the part sticks out of the oil: it burns there"),
    }
    Ok(())
}

/// Where EN 1993-1-2's heat capacity ends.
const CURVE_ENDS_C: f64 = 1200.0;
/// A part is not quenched standing on the bottom, where sludge and water lie.
const CLEARANCE_M: f64 = 0.02;
/// Oil this hot stands within 50 K of the lowest flash points of quench oils, about 150 °C: common practice, no source.
const HOT_OIL_C: f64 = 100.0;
