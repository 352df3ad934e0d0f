//! "What do plates or still air do to a part of air-hardening steel?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::heating::Section;
use crate::quench::{Hot, plates_after};
use crate::si;
use crate::steel::Steel;
use crate::transfer::{StillAir, after, seconds_until};
use crate::units::{self, System};
use uom::si::f64::{Mass, ThermodynamicTemperature, Time};
use uom::si::length::millimeter;

/// Parts that are quenched between plates, one after another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlatesQuestion {
    /// The section that must harden.
    pub section: Section,
    /// The mass of each part.
    pub mass: Mass,
    /// The heat that it was soaked at.
    pub heat: ThermodynamicTemperature,
    /// The seconds from the door to between the plates.
    pub in_air: Time,
    /// The mass of both plates, of aluminium.
    pub plates: Mass,
    /// Their temperature before the first part.
    pub plates_at: ThermodynamicTemperature,
    /// How many parts, with no time for the plates to cool between.
    pub parts: u32,
    /// The room's air.
    pub air: StillAir,
    /// The steel, to see whether the section hardens so.
    pub steel: Option<&'static Steel>,
}

/// Answers how warm the plates get, and how long the same part would take in still air.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn plates(question: &PlatesQuestion, system: System) -> Result<Answer> {
    let PlatesQuestion { section, mass, heat, air, .. } = *question;
    let there = after(section, heat, question.in_air, &air)?;
    let part = Hot { mass, soaked: heat, entering: there.temperature };
    let (mut end, mut cool_enough) = (question.plates_at, 0);
    for _ in 0..question.parts {
        // Plates as hot as this have stopped quenching, and the arithmetic ends here too.
        if si::celsius(end) > HOTTEST_C {
            break;
        }
        end = plates_after(question.plates, end, &part)?;
        cool_enough += u32::from(si::celsius(end) <= TOUCHED_C);
    }
    let count = if question.parts == 1 { "1 part".to_owned() } else { format!("{} parts", question.parts) };
    let plates = units::show_mass(question.plates, system);
    let mut answer = Answer::new(format!("{count} between plates of {plates}"));
    let mut write = Writer::new(&mut answer, system);
    write.temperature("entering_c", "comes between the plates at", there.temperature, "still air on the way");
    if si::celsius(end) <= HOTTEST_C {
        let basis = "energy balance, aluminium, nothing lost between parts";
        write.temperature("plates_after_c", "plates after the last", end, basis);
    }
    let touched = units::show_temperature(si::from_celsius(TOUCHED_C), system);
    let label = format!("parts before the plates pass {touched}");
    write.number(
        "parts_that_fit",
        &label,
        f64::from(cool_enough),
        4,
        "cool enough to touch closely (common practice, no source)",
    );
    let hand = si::from_celsius(HAND_WARM_C);
    if air.temperature < hand
        && let Some(time) = seconds_until(section, heat, hand, &air)?
    {
        let label = format!("in still air instead, to {}, it takes", units::show_temperature(hand, system));
        write.time("air_s", &label, time, "radiation and natural convection on all sides");
    }
    if cool_enough < question.parts {
        answer.warn(format!(
            "the plates pass {touched} after {cool_enough} of {}: heavier plates, or let them cool between",
            question.parts
        ));
    }
    if let Some(steel) = question.steel {
        suited(&mut answer, steel, section, system);
    }
    answer.take(there.notes);
    answer.warn_first("hot steel burns: tongs and gloves, nothing that burns beneath, the part let go before the hand is near");
    Ok(answer)
}

fn suited(answer: &mut Answer, steel: &Steel, section: Section, system: System) {
    let hardens = steel.heaviest_air_mm.is_some_and(|most_mm| section.size.get::<millimeter>() <= most_mm);
    let basis = format!("the table's heaviest section of {} in air (common practice, no source)", steel.grade);
    Writer::new(answer, system).flag("hardens", "the table expects this section to harden so", hardens, basis);
    match steel.heaviest_air_mm {
        None => answer.warn(format!("{} does not harden in air or between plates; its quench: {}", steel.grade, steel.quench)),
        Some(most_mm) if !hardens => answer.warn(format!(
            "{} of {} is heavier than the {} that hardens so",
            units::show_length_both(section.size),
            steel.grade,
            units::show_length_both(si::metres(most_mm * 1e-3))
        )),
        Some(_) => {}
    }
}

/// The temperature that plates are best kept under: common practice, no source.
const TOUCHED_C: f64 = 60.0;
/// Where a part can be held in the hand and is tempered: the upper end of the usual 50 to 65 °C.
const HAND_WARM_C: f64 = 65.0;
/// The hottest plates that another part is put between here.
const HOTTEST_C: f64 = 200.0;
