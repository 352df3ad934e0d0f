//! "How many seconds have I from the door to the oil?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::heating::Section;
use crate::note::Note;
use crate::si;
use crate::steel::Steel;
use crate::transfer::{StillAir, Taper, after, seconds_until, taper};
use crate::units::{self, System};
use uom::si::f64::{ThermodynamicTemperature, Time};
use uom::si::length::millimeter;

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
    /// Whether that limit was said; where it was not, it does not bind steel that hardens in air.
    pub limit_said: bool,
    /// The steel, if it was said.
    pub steel: Option<&'static Steel>,
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
    let hardens = austenitized(question);
    let in_air = hardens_in_air(question);
    let has = seconds_until(*section, *start, *limit, air)?.filter(|_| hardens && in_air.is_none());
    let mut answer = Answer::new(format!("Transfer from {}", units::show_temperature(*start, system)));
    let mut write = Writer::new(&mut answer, system);
    write.temperature("entering_c", "enters the bath at", there.temperature, "still air");
    write.difference("drop_k", "falls by", there.drop, "still air");
    write.number("first_rate_k_s", "begins to fall by, K/s", there.first_rate.value, 2, "radiation and convection");
    if let Some(has) = has {
        write.time("has_s", "from the door, it must be under within", has, "still air, until it has fallen to the limit");
    }
    if let Some(shape) = &question.taper {
        let edge = taper(shape, *start, *time, air)?;
        write.temperature("edge_c", "its edge enters at", edge.edge, "taper with heat from the body");
        if edge.edge < *limit && hardens && in_air.is_none() {
            answer.warn("the edge is below the limit before the part is under: it may not harden there");
        }
    }
    if !hardens {
        answer.warn_first(format!(
            "not austenitized: from {} nothing hardens, whatever the seconds",
            units::show_temperature(*start, system)
        ));
    } else if let Some(steel) = in_air {
        answer.take([Note::basis(format!(
            "{} hardens in air in this section, so no seconds are counted: it hardens on its way; do not hurry, do not let it wait",
            steel.grade
        ))]);
    } else if there.temperature < *limit {
        answer.warn("the part is below the limit before it is under: quicker, or from a little hotter within its range");
    }
    answer.take(there.notes);
    Ok(answer)
}

/// Whether the part can hold austenite at the door: not below its steel's range, nor below where any of it forms.
fn austenitized(question: &TransferQuestion) -> bool {
    let least_c = question.steel.map_or(EUTECTOID_C, |steel| steel.austenitize_c.least - RANGE_SLACK_K);
    si::celsius(question.start) >= least_c
}

/// The steel, if it hardens in air in this section and no limit was said.
fn hardens_in_air(question: &TransferQuestion) -> Option<&'static Steel> {
    let size_mm = question.section.size.get::<millimeter>();
    question.steel.filter(|steel| !question.limit_said && steel.heaviest_air_mm.is_some_and(|most_mm| size_mm <= most_mm))
}

/// Below the eutectoid of iron and carbon, 727 °C, there is no austenite in plain steel: any textbook; rounded down.
const EUTECTOID_C: f64 = 723.0;
/// A furnace that reads a little low has still austenitized.
const RANGE_SLACK_K: f64 = 15.0;
