//! "I have this steel in this section, this furnace, this gas and this tank: what does the whole load look like?"

use super::{Answer, Writer};
use super::{BathQuestion, CylinderQuestion, HeatQuestion, PurgeQuestion, TemperQuestion, TransferQuestion};
use crate::cylinder::Draw;
use crate::error::Result;
use crate::heating::Surface;
use crate::note::Note;
use crate::purge::{Reached, time_to};
use crate::si;
use crate::steel::{Cycle, Medium, Wish, cycle as proposed};
use crate::tempering::Temper;
use crate::units::System;
use uom::si::f64::Time;

/// A whole load.
#[derive(Debug, Clone, PartialEq)]
pub struct CycleQuestion {
    /// The steel, its section, and what is wanted of it.
    pub wish: Wish,
    /// The gas side, if gas protects it.
    pub gas: Option<GasSide>,
    /// The quench side, if it goes into oil.
    pub quench: Option<QuenchSide>,
    /// The ramp from cold, if the furnace heats with the load in it.
    pub ramp: Option<super::RampWish>,
    /// How long the load cools under gas after the soak if it is abandoned, or under gas before it is taken out.
    pub cooling: Time,
}

/// The gas of a whole load.
#[derive(Debug, Clone, PartialEq)]
pub struct GasSide {
    /// The purge.
    pub purge: PurgeQuestion,
    /// The cylinder, if it is asked about; the draws and the reserve of the cycle are added to its own.
    pub cylinder: Option<CylinderQuestion>,
}

/// The quench of a whole load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuenchSide {
    /// The way to the bath; its start is filled in from the cycle.
    pub transfer: TransferQuestion,
    /// The bath, with the window that it is worked in; its start is filled in from the cycle.
    pub bath: BathQuestion,
}

/// Proposes the cycle and answers every part of it.
///
/// The first answer is the cycle itself; purge, cylinder, heat, transfer, bath and temper follow, as far as they were asked.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn cycle(question: &CycleQuestion, system: System) -> Result<(Cycle, Vec<Answer>)> {
    let cycle = proposed(&question.wish)?;
    let mut answers = vec![summary(question, &cycle, system)];
    let start = cycle.preheat.map_or(ROOM_C, |hold| si::celsius(hold.temperature));
    let heat = HeatQuestion {
        section: question.wish.section,
        surface: Surface::of_load(question.wish.protected),
        start: si::from_celsius(start),
        heat: cycle.soak.temperature,
        band: si::difference(5.0),
        soak: cycle.soak.least,
        ramp: question.ramp,
    };
    let hot = super::heat(&heat, system)?;
    let pull_s = hot.number("pull_s").unwrap_or(0.0) + cycle.preheat.map_or(0.0, |hold| hold.to_heat.value);
    if let Some(gas) = &question.gas {
        let purge = PurgeQuestion { heat: (cycle.soak.temperature, gas.purge.heat.1), ..gas.purge };
        answers.push(super::purge(&purge, system)?);
        if let Some(cylinder) = &gas.cylinder {
            let held_s = ramp_s(question, &cycle) + pull_s;
            answers.push(supplied(&purge, cylinder, held_s, question.cooling, system)?);
        }
    }
    answers.push(hot);
    if let Some(quench) = question.quench.as_ref().filter(|_| cycle.medium == Medium::Oil) {
        let transfer = TransferQuestion { start: cycle.soak.temperature, ..quench.transfer };
        answers.push(super::transfer(&transfer, system)?);
        let mut bath = quench.bath;
        bath.pulls.furnace = cycle.soak.temperature;
        answers.push(super::bath(&bath, system)?);
    }
    let temper = Temper { temperature: cycle.tempering.temperature, time: cycle.tempering.time };
    let steel = cycle.through.then_some(question.wish.steel);
    let temper = TemperQuestion { temper, times: cycle.tempering.times, steel, instead: None };
    answers.push(super::temper(&temper, system)?);
    Ok((cycle, answers))
}

const ROOM_C: f64 = 25.0;

fn summary(question: &CycleQuestion, cycle: &Cycle, system: System) -> Answer {
    let wish = &question.wish;
    let mut answer = Answer::new(format!("A cycle for {}", wish.steel.grade));
    let mut write = Writer::new(&mut answer, system);
    if let Some(preheat) = cycle.preheat {
        write.temperature("preheat_c", "preheat", preheat.temperature, "until the core is there");
        write.time(
            "preheat_s",
            "preheat takes",
            preheat.to_heat,
            "into a furnace that holds it; the heat-up below starts from there",
        );
    }
    write.temperature("soak_c", "soak at", cycle.soak.temperature, "middle of the steel's range");
    write.time("soak_least_s", "soak for at least", cycle.soak.least, "handbook and data sheet both satisfied");
    write.time("soak_most_s", "soak for at most", cycle.soak.most, "the longer of the two");
    let medium = match cycle.medium {
        Medium::Air => "still air",
        Medium::Plates => "plates",
        Medium::Oil => "oil",
        Medium::Water => "water or brine",
    };
    write.word("medium", "quench in", medium, wish.steel.quench);
    let critical = wish.steel.composition.critical();
    if let Ok(critical) = &critical {
        write.temperature(
            "ms_c",
            "martensite begins to form at",
            critical.ms,
            "Andrews, from the middle composition; good to 25 K",
        );
    }
    if cycle.through {
        write.number("as_quenched_low_hrc", "as quenched at least, HRC", cycle.as_quenched_hrc.0, 3, "the steel's table");
        write.number("as_quenched_high_hrc", "as quenched at most, HRC", cycle.as_quenched_hrc.1, 3, "the steel's table");
    }
    write.temperature("temper_c", "temper at", cycle.tempering.temperature, "the steel's tempering curve");
    write.number("temper_times", "tempers", f64::from(cycle.tempering.times), 3, "common practice, no source");
    if cycle.through {
        write.number("hardness_hrc", "hardness to expect, HRC", cycle.tempering.hardness_hrc, 3, wish.steel.tempering_note);
    } else {
        answer.warn("no hardness is promised: the section is heavier than the table expects this quench to harden");
    }
    if let Err(error) = critical {
        answer.take([Note::basis(format!("no martensite start is given: {error}"))]);
    }
    if question.quench.is_some() && cycle.medium != Medium::Oil {
        answer.take([Note::basis(format!(
            "{} in this section goes into {medium}: the way to the oil and the oil are not answered",
            wish.steel.grade
        ))]);
    }
    answer.take(cycle.cautions.iter().cloned());
    answer.take(cycle.reasons.iter().cloned());
    answer
}

/// The ramp's own time, where the load heats with the furnace.
fn ramp_s(question: &CycleQuestion, cycle: &Cycle) -> f64 {
    question.ramp.map_or(0.0, |wish| {
        let rate_k_s = wish.ramp.kelvin_per_second();
        if rate_k_s > 0.0 { (si::celsius(cycle.soak.temperature) - ROOM_C) / rate_k_s } else { 0.0 }
    })
}

/// The cylinder under the draws of this cycle; what it holds alone where nobody can say how long the purge runs.
fn supplied(purge: &PurgeQuestion, cylinder: &CylinderQuestion, held_s: f64, cooling: Time, system: System) -> Result<Answer> {
    match time_to(&purge.chamber, &purge.purge, purge.level)? {
        Reached::After { time, .. } => super::cylinder(&drawn(purge, cylinder, (time, held_s), cooling), system),
        Reached::Never { .. } => {
            let idle = CylinderQuestion { draws: Vec::new(), reserve: si::moles(0.0), ..cylinder.clone() };
            let mut answer = super::cylinder(&idle, system)?;
            answer.warn("no forecast: this purge never reaches its level, so nobody can say how long it draws gas");
            Ok(answer)
        }
    }
}

/// The cylinder with the draws of this cycle: purge, hold until the pull, cooling; and a reserve that cools an abandoned load.
fn drawn(
    purge: &PurgeQuestion,
    cylinder: &CylinderQuestion,
    (purge_time, held_s): (Time, f64),
    cooling: Time,
) -> CylinderQuestion {
    let hold = purge.heat.1;
    let mut draws = vec![Draw { flow: purge.purge.flow, time: purge_time }, Draw { flow: hold, time: si::seconds(held_s) }];
    draws.extend(cylinder.draws.iter().copied());
    let reserve = si::moles(cylinder.reserve.value.max(hold.value * cooling.value));
    CylinderQuestion { draws, reserve, ..cylinder.clone() }
}
