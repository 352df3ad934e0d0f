//! "I have this steel in this section, this furnace, this gas and this tank: what does the whole load look like?"

use super::heat::{Arrival, Way};
use super::temper::in_words;
use super::{Answer, Writer};
use super::{BathQuestion, CylinderQuestion, HeatQuestion, PurgeQuestion, TemperQuestion, TransferQuestion};
use crate::cylinder::Draw;
use crate::error::Result;
use crate::heating::Surface;
use crate::note::Note;
use crate::purge::{Reached, time_to};
use crate::si;
use crate::span::Span;
use crate::steel::{Cycle, Medium, SOAK_BAND_K, Wish, cycle as proposed};
use crate::units::{self, System};
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
    /// How long an abandoned load would cool under gas: the cylinder keeps that in reserve.
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
    let cycle = proposed(&question.wish, system)?;
    let preheated = preheated(question, &cycle)?;
    let mut answers = vec![summary(question, &cycle, preheated.as_ref(), system)?];
    let heat = HeatQuestion {
        section: question.wish.section,
        surface: Surface::of_load(question.wish.protected),
        start: cycle.preheat.map_or(question.wish.room, |hold| hold.temperature),
        heat: cycle.soak.temperature,
        band: si::difference(SOAK_BAND_K),
        soak: cycle.soak.least,
        ramp: question.ramp,
    };
    let hot = super::heat(&heat, system)?;
    let to_preheat = if cycle.preheat.is_some() { preheated.map(|way| way.came.time.value) } else { Some(0.0) };
    let pulled = hot.number("pull_s").zip(to_preheat).map(|(pull_s, preheat_s)| si::seconds(pull_s + preheat_s));
    if let Some(gas) = &question.gas {
        let purge = PurgeQuestion { heat: cycle.soak.temperature, ..gas.purge };
        answers.push(super::purge(&purge, system)?);
        if let Some(cylinder) = &gas.cylinder {
            answers.push(supplied(&purge, cylinder, pulled, question.cooling, system)?);
        }
    }
    answers.push(hot);
    if let Some(quench) = question.quench.as_ref().filter(|_| cycle.medium == Medium::Oil) {
        let transfer = TransferQuestion { start: cycle.soak.temperature, ..quench.transfer };
        answers.push(super::transfer(&transfer, system)?);
        let mut bath = quench.bath;
        bath.pulls.furnace = cycle.soak.temperature;
        bath.limit = Some(transfer.limit);
        answers.push(super::bath(&bath, system)?);
    }
    let steel = cycle.through.then_some(question.wish.steel);
    let temper = TemperQuestion { tempers: cycle.tempering.tempers.clone(), steel, instead: None };
    answers.push(super::temper(&temper, system)?);
    Ok((cycle, answers))
}

/// The way to the preheat, if the steel asks for one and the furnace ever gets there.
fn preheated(question: &CycleQuestion, cycle: &Cycle) -> Result<Option<Arrival>> {
    let Some(hold) = cycle.preheat else { return Ok(None) };
    let CycleQuestion { wish, ramp, .. } = question;
    let surface = Surface::of_load(wish.protected);
    let band = si::difference(SOAK_BAND_K);
    Way { section: wish.section, surface, from: wish.room, to: hold.temperature, band, ramp: ramp.as_ref() }.arrival()
}

fn summary(question: &CycleQuestion, cycle: &Cycle, preheated: Option<&Arrival>, system: System) -> Result<Answer> {
    let wish = &question.wish;
    let table = |has: String| format!("yours; the table says {has}");
    let mut answer = Answer::new(format!("A cycle for {}", wish.steel.grade));
    let mut write = Writer::new(&mut answer, system);
    if let Some(preheat) = cycle.preheat {
        let has = wish.steel.preheat_c.map(|t_c| units::show_temperature(si::from_celsius(t_c), system));
        let has = table(has.unwrap_or_else(|| "that it needs none".to_owned()));
        let basis = if wish.own.preheat.is_some() {
            format!("until the core is there; {has}")
        } else {
            "until the core is there".to_owned()
        };
        write.temperature("preheat_c", "preheat", preheat.temperature, basis);
    }
    if let Some(way) = preheated {
        let basis = format!("{}; the heat-up below starts from there", way.basis());
        write.time("preheat_s", "preheat takes", way.came.time, basis);
    }
    let usual = "the middle of the steel's range, down to full 5 °C";
    let has = units::show_temperature(wish.steel.usual_heat(), system);
    let basis = if wish.own.heat.is_some() { format!("{}, {usual}", table(has)) } else { usual.to_owned() };
    write.temperature("soak_c", "soak at", cycle.soak.temperature, basis);
    let Span { least, most } = wish.steel.soak_for(wish.section.size)?;
    let guidance = wish.steel.soak.basis();
    let basis = if wish.own.soak.is_some() { format!("{}; {guidance}", table(units::show_time(least))) } else { guidance };
    write.time("soak_least_s", "soak for at least", cycle.soak.least, basis);
    let longest = "the longest that any guidance allows";
    let basis = if cycle.soak.most > most { format!("{}, {longest}", table(units::show_time(most))) } else { longest.to_owned() };
    write.time("soak_most_s", "soak for at most", cycle.soak.most, basis);
    let medium = match cycle.medium {
        Medium::Air => "still air",
        Medium::Plates => "plates",
        Medium::Oil => "oil",
        Medium::Water => "water or brine",
    };
    write.word("medium", "quench in", medium, wish.steel.quench);
    if let Some(window) = cycle.bath {
        let [low, high] = [window.least, window.most].map(|t| units::show_temperature(t, system));
        let between = format!("{low} to {high}");
        let class = wish.oil.or(wish.steel.oil.map(|(needs, _)| needs)).map_or("its", |oil| oil.words().0);
        write.word("bath_window", "bath between", between, format!("the usual window of oil of the {class} class"));
    }
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
        write.number("as_quenched_low_hrc", "as quenched at least, HRC", cycle.as_quenched_hrc.least, 3, "the steel's table");
        write.number("as_quenched_high_hrc", "as quenched at most, HRC", cycle.as_quenched_hrc.most, 3, "the steel's table");
    }
    tempered(&mut answer, question, cycle, system);
    if let Err(error) = critical {
        answer.take([Note::basis(format!("no martensite start is given: {error}"))]);
    }
    if question.quench.is_some() && cycle.medium != Medium::Oil {
        answer.take([Note::basis(format!(
            "{} in this section goes into {medium}: the way to the oil and the oil are not answered",
            wish.steel.grade
        ))]);
    }
    answer.take_first(cycle.cautions.iter().cloned());
    answer.take(cycle.reasons.iter().cloned());
    Ok(answer)
}

/// The tempers, and the hardness to expect after them.
fn tempered(answer: &mut Answer, question: &CycleQuestion, cycle: &Cycle, system: System) {
    let (steel, own) = (question.wish.steel, &question.wish.own.tempers);
    let tempering = &cycle.tempering;
    let hottest = tempering.hottest();
    let [low, high] =
        [steel.temper_c.least, steel.temper_c.most].map(|t_c| units::show_temperature(si::from_celsius(t_c), system));
    let yours = format!("yours; the table says {low} to {high}");
    let mut write = Writer::new(answer, system);
    let basis = if own.is_empty() { "the steel's tempering curve".to_owned() } else { yours };
    let label = if tempering.tempers.iter().all(|temper| temper.temperature == hottest) { "temper at" } else { "hottest temper" };
    write.temperature("temper_c", label, hottest, basis);
    let basis = if own.is_empty() { "common practice, no source" } else { "yours; two of 2 h are common practice, no source" };
    write.number("temper_times", "tempers", tempering.tempers.len() as f64, 3, basis);
    if !own.is_empty() {
        write.word("tempers", "one after another", in_words(&tempering.tempers, system), "yours; cooled between");
    }
    match tempering.hardness_hrc.filter(|_| cycle.through) {
        Some(hrc) => write.number("hardness_hrc", "hardness to expect, HRC", hrc, 3, steel.tempering_basis(hottest)),
        None if !cycle.through => {
            answer.warn("no hardness is promised: the section is heavier than the table expects this quench to harden");
        }
        // Its own part of the answer says where the curve ends.
        None => {}
    }
}

/// The cylinder under the draws of this cycle; what it holds alone where nobody can say how long they run.
fn supplied(
    purge: &PurgeQuestion,
    cylinder: &CylinderQuestion,
    pulled: Option<Time>,
    cooling: Time,
    system: System,
) -> Result<Answer> {
    let why = match (time_to(&purge.chamber, &purge.purge, purge.level)?, pulled) {
        (Reached::After { time, .. }, Some(pulled)) => {
            let mut answer = super::cylinder(&drawn(purge, cylinder, (time, pulled), cooling), system)?;
            if cylinder.reserve.value > 0.0 {
                let [said, cools] = [cylinder.reserve.value, purge.hold.value * cooling.value]
                    .map(|mol| units::show_volume(purge.reference.volume(si::moles(mol)), system));
                answer.take([Note::basis(format!(
                    "the larger reserve counts: {said} as said, {cools} to cool an abandoned load under the holding flow"
                ))]);
            }
            return Ok(answer);
        }
        (Reached::Never { .. }, _) => "this purge never reaches its level",
        (Reached::After { .. }, None) => "this furnace never comes to heat",
    };
    let idle = CylinderQuestion { in_turn: Vec::new(), draws: Vec::new(), reserve: si::moles(0.0), ..cylinder.clone() };
    let mut answer = super::cylinder(&idle, system)?;
    answer.warn(format!("no forecast: {why}, so nobody can say how long it draws gas"));
    Ok(answer)
}

/// The cylinder with the draws of this cycle, purge and hold until the pull, and with a reserve that cools an abandoned load.
fn drawn(
    purge: &PurgeQuestion,
    cylinder: &CylinderQuestion,
    (purge_time, held): (Time, Time),
    cooling: Time,
) -> CylinderQuestion {
    let hold = purge.hold;
    let in_turn = vec![Draw { flow: purge.purge.flow, time: purge_time }, Draw { flow: hold, time: held }];
    let reserve = si::moles(cylinder.reserve.value.max(hold.value * cooling.value));
    CylinderQuestion { in_turn, reserve, ..cylinder.clone() }
}
