//! "How many seconds have I, and what does the load do to my bath?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::heating::Section;
use crate::note::Note;
use crate::quench::{Bath, Hot, OilSpeed, Pulls, Suits, suits};
use crate::si;
use crate::steel::Steel;
use crate::transfer::{StillAir, Taper, after, seconds_until, taper};
use crate::units::{self, System};
use crate::vessel::Vessel;
use uom::si::f64::{Length, Mass, ThermodynamicTemperature, Time};

/// A part on its way to the bath.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TransferQuestion {
    /// The thinnest section that must harden.
    pub section: Section,
    /// Its taper, if it has an edge.
    pub taper: Option<Taper>,
    /// The temperature at the door.
    pub start: ThermodynamicTemperature,
    /// The temperature that it must not fall below before it is under.
    pub limit: ThermodynamicTemperature,
    /// The seconds from door to oil.
    pub time: Time,
    /// The room's air.
    pub air: StillAir,
}

/// Answers how far a part falls and how long it has.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn transfer(question: &TransferQuestion, system: System) -> Result<Answer> {
    let TransferQuestion { section, start, limit, time, air, .. } = question;
    let there = after(*section, *start, *time, air)?;
    let has = seconds_until(*section, *start, *limit, air)?;
    let mut answer = Answer::new(format!("Transfer from {}", units::show_temperature(*start, system)));
    let mut write = Writer::new(&mut answer, system);
    write.temperature("entering_c", "enters the bath at", there.temperature, "still air");
    write.difference("drop_k", "falls by", there.drop, "still air");
    write.number("first_rate_k_s", "begins to fall by, K/s", there.first_rate.value, 2, "radiation and convection");
    if let Some(has) = has {
        write.time("has_s", "must be under within", has, "until it has fallen to the limit");
    }
    if let Some(shape) = &question.taper {
        let edge = taper(shape, *start, *time, air)?;
        write.temperature("edge_c", "its edge enters at", edge.edge, "taper with heat from the body");
        if edge.edge < *limit {
            answer.warn("the edge is below the limit before the part is under: it may not harden there");
        }
    }
    if there.temperature < *limit {
        answer.warn("the part is below the limit before it is under: quicker, or from a little hotter within its range");
    }
    answer.take(there.notes);
    Ok(answer)
}

/// A load and the bath that is to take it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BathQuestion {
    /// The bath.
    pub bath: Bath,
    /// The working window of the bath.
    pub window: (ThermodynamicTemperature, ThermodynamicTemperature),
    /// The flash point of the oil.
    pub flash_point: Option<ThermodynamicTemperature>,
    /// The parts, pulled one after another.
    pub pulls: Pulls,
    /// The room's air.
    pub air: StillAir,
    /// The steel and the speed of the oil, to see whether the section suits it.
    pub steel: Option<(&'static Steel, OilSpeed)>,
    /// The tank and the length of a part, if level and cover are asked.
    pub vessel: Option<(Vessel, Length)>,
    /// The time constant of the tank's cooling, if known.
    pub cooling: Option<Time>,
}

/// Answers what the load does to the bath.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn bath(question: &BathQuestion, system: System) -> Result<Answer> {
    let BathQuestion { bath, pulls, window, .. } = question;
    let each = pulls.run(bath, &question.air)?;
    let (first, last) = (each.first(), each.last());
    let end = last.map_or(bath.temperature(), |pull| pull.bath_after);
    let count = if pulls.parts == 1 { "1 part".to_owned() } else { format!("{} parts", pulls.parts) };
    let mut answer = Answer::new(format!("{count} into {} of bath", units::show_volume(bath.volume(), system)));
    let mut write = Writer::new(&mut answer, system);
    write.temperature("bath_after_c", "bath after the last", end, "energy balance, no cooling between");
    if let (Some(first), Some(last)) = (first, last) {
        write.temperature("first_entering_c", "the first enters at", first.entering, "after waiting and air");
        write.temperature("last_entering_c", "the last enters at", last.entering, "after waiting behind the open door");
        let part = Hot { mass: pulls.mass, soaked: pulls.furnace, entering: first.entering };
        let fit = bath.parts_before(&part, window.1)?;
        write.number("parts_that_fit", "parts before it passes its window", f64::from(fit), 4, "each entering like the first");
        if let Some(start) = bath.start_for(&part, pulls.parts, window.1)? {
            write.temperature("start_for_all_c", "bath start that would take them all", start, "");
        }
        let volume = bath.volume_for(&part, pulls.parts, window.1).ok().filter(|_| fit < pulls.parts);
        if let Some(volume) = volume {
            write.volume("volume_for_all_l", "bath that would take them all from here", volume, "");
        }
        if fit < pulls.parts {
            answer.warn(format!("the bath passes the top of its window after {fit} of {} parts", pulls.parts));
        }
    }
    if si::celsius(pulls.furnace) > CURVE_ENDS_C {
        answer.take([Note::outside("the heat capacity of EN 1993-1-2 ends at 1200 °C; its last value is held")]);
    }
    window_and_flash(&mut answer, question, end, system)?;
    suited(&mut answer, question)?;
    tank(&mut answer, question, end, system)?;
    Ok(answer)
}

fn window_and_flash(answer: &mut Answer, question: &BathQuestion, end: ThermodynamicTemperature, system: System) -> Result<()> {
    let (bath, (low, high)) = (&question.bath, question.window);
    if bath.temperature() < low {
        let scrap = bath.scrap_to(low, question.pulls.furnace, si::kilograms(0.0))?;
        let mut write = Writer::new(answer, system);
        write.mass("scrap_kg", "hot scrap that would warm it", scrap, "quenched from the furnace's heat, no losses");
        answer.warn(format!(
            "the oil is too cold: {} is below its window of {} to {}; cold oil is slow and cracks parts",
            units::show_temperature(bath.temperature(), system),
            units::show_temperature(low, system),
            units::show_temperature(high, system)
        ));
    }
    if end > high
        && let Some(constant) = question.cooling
        && let Some(time) = bath.at(end)?.back_to(high, question.air.temperature, constant)?
    {
        Writer::new(answer, system).time("back_s", "back in its window after", time, "the tank's own time constant");
    }
    if let Some(flash_point) = question.flash_point {
        let margin = bath.at(end)?.flash_margin(flash_point, false)?;
        Writer::new(answer, system).difference(
            "flash_margin_k",
            "margin to the flash point at the end",
            margin.margin,
            "at least 50 K",
        );
        answer.take(margin.notes);
    }
    Ok(())
}

fn suited(answer: &mut Answer, question: &BathQuestion) -> Result<()> {
    let Some((steel, oil)) = question.steel else {
        return Ok(());
    };
    match steel.oil {
        Some((needs, heaviest_mm)) => {
            if let Suits::No(notes) = suits(oil, needs, heaviest_mm, question.pulls.section)? {
                answer.take(notes);
            }
        }
        None => answer.warn(format!("{} is not an oil-hardening steel: {}", steel.grade, steel.quench)),
    }
    Ok(())
}

fn tank(answer: &mut Answer, question: &BathQuestion, end: ThermodynamicTemperature, system: System) -> Result<()> {
    let Some((vessel, part_length)) = question.vessel else {
        return Ok(());
    };
    let together: Mass = question.pulls.mass;
    let rise = vessel.rise(together, question.bath.temperature(), end)?;
    let mut write = Writer::new(answer, system);
    write.length("level_rise_mm", "level rises by", rise.total, "one part at a time, and the oil that warms");
    match vessel.cover(part_length, si::metres(CLEARANCE_M))? {
        Some(over) => write.length("oil_over_part_mm", "oil over the part", over, "hanging upright, 20 mm off the bottom"),
        None => answer.warn("the part sticks out of the oil: it burns there"),
    }
    answer.take(rise.notes);
    Ok(())
}

/// Where EN 1993-1-2's heat capacity ends.
const CURVE_ENDS_C: f64 = 1200.0;
/// A part is not quenched standing on the bottom, where sludge and water lie.
const CLEARANCE_M: f64 = 0.02;
