//! "What does my furnace lose and hold?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::furnace::{Reading, identify};
use crate::si;
use crate::units::System;
use uom::si::f64::ThermodynamicTemperature;

/// A recorded heat-up of a furnace that began at rest.
#[derive(Debug, Clone, PartialEq)]
pub struct FurnaceQuestion {
    /// The record.
    pub record: Vec<Reading>,
    /// The room.
    pub room: ThermodynamicTemperature,
}

/// Answers with loss, capacity and time constants, and with what a heat-up asks for.
///
/// # Errors
/// As for [`identify`].
pub fn furnace(question: &FurnaceQuestion, system: System) -> Result<Answer> {
    let found = identify(&question.record, question.room)?;
    let hottest =
        question.record.iter().map(|reading| reading.chamber).fold(question.room, |most, t| if t > most { t } else { most });
    let over_k = si::kelvin(hottest) - si::kelvin(question.room);
    let mut answer = Answer::new(format!("A furnace by {} readings", question.record.len()));
    let mut write = Writer::new(&mut answer, system);
    let known = |share: f64| format!("good to {} % by the scatter of the record", crate::units::figures(share * 100.0, 2));
    let [loss, capacity, _] = found.errors.map(|error| error.value);
    write.number("loss_w_k", "loss, W per kelvin over the room", found.loss.value, 3, known(loss));
    write.number("capacity_kj_k", "heat held, kJ per kelvin", found.capacity.value / 1e3, 3, known(capacity));
    write.time("slow_s", "time constant of its cooling", found.slow, "how it falls once cut");
    write.time("fast_s", "time by which the heater leads the chamber", found.fast, "the quick part of the fitted record");
    write.power("holding_w", "power that holds the hottest of the record", si::watts(found.loss.value * over_k), "without gas");
    let falls = found.loss.value * over_k / found.capacity.value * 60.0;
    write.number("falls_k_min", "begins to fall from there by, K/min", falls, 3, "closed and empty");
    write.difference("scatter_k", "what stays unexplained", found.scatter, "root mean square");
    answer.take(found.notes);
    Ok(answer)
}
