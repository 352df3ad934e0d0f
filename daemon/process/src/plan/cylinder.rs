//! "Will this cylinder last, and what does it do to my room?"

use super::{Answer, Writer};
use crate::cylinder::{Cylinder, Draw, Reach, forecast, lasts, overnight};
use crate::error::Result;
use crate::flow::Reference;
use crate::note::Note;
use crate::room::{Breathing, Room};
use crate::units::System;
use crate::{AmountFlow, si, units};
use uom::si::f64::{AmountOfSubstance, Pressure, Ratio, ThermodynamicTemperature, Time};

/// A cylinder and what is to be drawn from it.
#[derive(Debug, Clone, PartialEq)]
pub struct CylinderQuestion {
    /// The cylinder.
    pub cylinder: Cylinder,
    /// The gauge of a full one at 21.1 °C, if it was said.
    pub filled: Option<Pressure>,
    /// Its gauge.
    pub gauge: Pressure,
    /// The largest error of that gauge.
    pub gauge_error: Pressure,
    /// Its temperature.
    pub temperature: ThermodynamicTemperature,
    /// The gauge at which it is changed.
    pub leave: Pressure,
    /// What one furnace is to draw, one stretch after another.
    pub in_turn: Vec<Draw>,
    /// What all else on it is to draw; each of these may run while any other does.
    pub draws: Vec<Draw>,
    /// What must be left to cool an abandoned load.
    pub reserve: AmountOfSubstance,
    /// The room that the gas ends up in.
    pub room: Option<Room>,
    /// The oxygen at which that room alarms: [`crate::room::USUAL_ALARM`] where the shop has no level of its own.
    pub alarm: Ratio,
    /// An earlier reading with everything shut, if it is asked whether it leaks.
    pub evening: Option<Evening>,
    /// The conditions that volumes are counted and shown at.
    pub reference: Reference,
}

/// What the gauge showed before, with everything shut since.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evening {
    /// The gauge then.
    pub gauge: Pressure,
    /// The cylinder's temperature then.
    pub temperature: ThermodynamicTemperature,
    /// How long ago.
    pub ago: Time,
}

/// Answers the question.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn cylinder(question: &CylinderQuestion, system: System) -> Result<Answer> {
    let CylinderQuestion { cylinder, gauge, temperature, leave, reference, .. } = question;
    let held = cylinder.contents(*gauge, *temperature)?;
    let draws = [question.in_turn.as_slice(), &question.draws].concat();
    let ahead = forecast(cylinder, *gauge, question.gauge_error, *temperature, *leave, &draws, question.reserve)?;
    let mut answer = Answer::new(format!("A cylinder of {} at {}", cylinder.gas().name(), units::show_pressure(*gauge, system)));
    let mut overfull = false;
    let mut write = Writer::new(&mut answer, system);
    write.mass("mass_kg", "gas in it", held.mass, "real-gas equation of state");
    write.volume("contents_l", "the same by volume", held.standard_volume, "real gas at 21.1 °C (70 °F), 1.01325 bar");
    if let Some(filled) = question.filled {
        let full = cylinder.contents(filled, Reference::TWENTY_ONE.temperature())?;
        let least = si::pascals((gauge.value - question.gauge_error.value).max(0.0));
        overfull = cylinder.contents(least, *temperature)?.amount > full.amount;
        let share = held.amount / full.amount;
        // Over full by less than the gauge can tell is full.
        let full_by_gauge = share.value > 1.0 && !overfull;
        let basis = if full_by_gauge {
            "as much as a full one at 21.1 °C (70 °F) holds, by the gauge's error"
        } else {
            "its gas against that of a full one at 21.1 °C (70 °F)"
        };
        write.share("full_fraction", "how full it is", if full_by_gauge { si::fraction(1.0) } else { share }, basis);
    }
    let counted = format!("counted at {}", reference.words());
    write.volume("usable_l", "usable", reference.volume(ahead.usable), counted.clone());
    write.volume(
        "usable_low_l",
        "usable if the gauge shows too much",
        reference.volume(ahead.usable_band.least),
        "the gauge's error",
    );
    let asked = ahead.needed.value > 0.0;
    if asked {
        let label = if question.reserve.value > 0.0 { "needed, with the reserve" } else { "needed, no reserve said" };
        write.volume("needed_l", label, reference.volume(ahead.needed), counted);
        if let Some(after) = ahead.gauge_after {
            write.pressure("gauge_after_bar", "gauge after it", after, "at the same temperature");
        }
    }
    let (most, flows) = at_once(question);
    if let Some(time) = lasts(ahead.usable, most) {
        write.time("lasts_s", &format!("lasts under {flows}"), time, "if that ran on and on");
    }
    if asked {
        write.word("reach", "reaches the end", words(ahead.reach), "with the gauge's error and the reserve");
    }
    if overfull {
        answer.warn(
            "more gas than a full cylinder holds, by more than the gauge's error: look at the gauge, and at what full means",
        );
    }
    if gauge <= leave {
        answer.warn("the gauge is not above that at which it is changed: it is already due for change");
    }
    match ahead.reach {
        Reach::Surely => {}
        Reach::Perhaps => answer.warn("whether it lasts depends on the gauge's error: have the next cylinder at hand"),
        Reach::No => answer.warn("this cylinder will not last"),
    }
    if let Some(time) = ahead.ends_after {
        Writer::new(&mut answer, system).time(
            "ends_after_s",
            "down to the gauge at which it is changed after",
            time,
            "if the draws come one after another; sooner where some run at once",
        );
    }
    answer.take(ahead.notes);
    if !question.in_turn.is_empty() && question.draws.is_empty() {
        answer.take([Note::basis("the draws come one after another, so the room sees the largest of them alone")]);
    }
    if let Some(evening) = &question.evening {
        leaked(&mut answer, question, evening, system)?;
    }
    match &question.room {
        Some(room) => the_room(&mut answer, question, room, system)?,
        None => answer
            .warn("say which room it stands in: one cylinder of inert gas can take the air of a small room, without warning"),
    }
    Ok(answer)
}

/// Whether gas went in a time in which none was drawn.
fn leaked(answer: &mut Answer, question: &CylinderQuestion, evening: &Evening, system: System) -> Result<()> {
    let CylinderQuestion { cylinder, gauge, temperature, reference, .. } = question;
    let before = (evening.gauge, evening.temperature);
    let night = overnight(cylinder, before, (*gauge, *temperature), question.gauge_error, evening.ago)?;
    let mut write = Writer::new(answer, system);
    write.pressure(
        "expected_gauge_bar",
        "gauge if nothing had leaked",
        night.expected_gauge,
        "the same gas at today's temperature",
    );
    if night.lost < -night.uncertainty {
        answer.warn(
            "there is more gas than before, and a shut cylinder gains none: a gauge, a cylinder or a temperature was mixed up",
        );
        return Ok(());
    }
    let within = units::show_volume(reference.volume(night.uncertainty), system);
    // A shut cylinder gains nothing: what looks like it is the gauge.
    let (lost, basis) = if night.lost.value > 0.0 {
        (night.lost, format!("within {within} by the gauge's error"))
    } else {
        (si::moles(0.0), format!("none that shows; less than {within} would not, by the gauge's error"))
    };
    write.volume("lost_l", "gas lost since", reference.volume(lost), basis);
    if night.leaks {
        let rate = units::show_flow(reference.volume_flow(night.rate), system);
        answer.warn(format!("it leaks {rate}, more than the gauge's error explains: find where before anybody works beside it"));
    }
    Ok(())
}

fn words(reach: Reach) -> &'static str {
    match reach {
        Reach::Surely => "surely",
        Reach::Perhaps => "perhaps",
        Reach::No => "no",
    }
}

/// The most that may flow at once, and what that is: nobody says when other furnaces run, so that all of them may run together.
fn at_once(question: &CylinderQuestion) -> (AmountFlow, &'static str) {
    let largest = question.in_turn.iter().map(|draw| draw.flow.value).fold(0.0, f64::max);
    let others: f64 = question.draws.iter().map(|draw| draw.flow.value).sum();
    let words = match (question.in_turn.len(), question.draws.len()) {
        (0, 0 | 1) | (1, 0) => "this flow",
        (_, 0) => "the largest of the flows",
        _ => "all furnaces at once",
    };
    (si::mole_rate(largest + others), words)
}

/// What the draws and the whole cylinder do to the air that people breathe.
fn the_room(answer: &mut Answer, question: &CylinderQuestion, room: &Room, system: System) -> Result<()> {
    let alarm = question.alarm;
    let level = units::show_ratio(alarm);
    let whole = room.whole_cylinder(&question.cylinder, question.gauge, question.temperature, alarm)?;
    let (most, flows) = at_once(question);
    answer.take_first(whole.notes);
    let mut write = Writer::new(answer, system);
    write.share(
        "room_whole_cylinder_fraction",
        "room oxygen if all of it came out at once",
        whole.worst,
        "worst case of the average",
    );
    if most.value > 0.0 {
        let steady = room.steady(most, alarm)?;
        write.share("room_steady_fraction", &format!("room oxygen under {flows} for ever"), steady.oxygen, "well mixed");
        let air = room.ventilation_for(most, alarm)?;
        write.number("room_air_m3_h", &format!("fresh air that keeps it at {level}, m³/h"), air.value * 3600.0, 3, "well mixed");
        if steady.oxygen < alarm {
            answer.warn_first(format!(
                "this flow would take the room below {level} oxygen, to {}: {}; ventilate more, or lead the gas out",
                units::show_ratio(steady.oxygen),
                Breathing::of(steady.oxygen).words()
            ));
        }
    }
    answer.take([Note::basis("averages over the room; low places and the inside of a furnace can hold far less oxygen")]);
    Ok(())
}
