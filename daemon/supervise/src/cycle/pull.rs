//! Pull and quench: parts out one by one, the seconds until each is under, the time under.

use std::fmt::Write as _;
use std::time::Duration;

use hearthward_equipment::quantity::in_kelvins;

use super::{At, Cycle, Outcome, Turn, bath, heat, route};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::interlock::InterlockKind;
use crate::plan::TankPlan;
use crate::questions::{Asked, Purpose};
use crate::recipe::{Medium, Step, StepKind};
use crate::request::Ask;
use crate::tanks::Tank;

/// The longest that the next part waits for the chamber to be back: then the steel would rather be under (assumed, no source).
const BACK_MS: u64 = 10 * 60_000;

pub(super) fn begin(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    cycle.parts_under = 0;
    if let Some(tank) = route::tank_ahead(cycle).and_then(|id| turn.tanks.get_mut(id.index())) {
        tank.hold(at.id);
    }
}

pub(super) fn pull(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) -> bool {
    if turn.questions.find(at.id, Purpose::PartUnder).is_some() && tank_tells(cycle, turn) {
        turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::PartUnder);
        part_under(cycle, at, turn);
    }
    if is_emptied(cycle) {
        (cycle.out, cycle.steel_c, cycle.wanted_c) = (true, None, None);
        return true;
    }
    if turn.questions.find(at.id, Purpose::PartUnder).is_some() {
        take_back(cycle, at, turn);
        return false;
    }
    if cycle.held {
        heat::step_aside(cycle, at, turn);
        return false;
    }
    let tank = route::tank_ahead(cycle).and_then(|id| turn.tanks.get(id.index()));
    if tank.is_some_and(|tank| tank.latched) || !may_call(cycle, at, turn) {
        return false;
    }
    call(cycle, at, turn);
    false
}

/// Every part is out and under, though the step may end in the next tick only: what was asked about the steel before is settled.
pub(crate) fn is_emptied(cycle: &Cycle) -> bool {
    cycle.kind() == StepKind::Pull && cycle.parts_under >= cycle.load.parts.max(1)
}

/// A part is called when the chamber is in its band and, where gas protects the load, under its limit; the first one when the tank is
/// ready for the whole sequence too. What was never at its heat, or fell from it, is not called for having waited long.
fn may_call(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) -> bool {
    if cycle.parts_under == 0 {
        // Steel that somebody wants quenched now waits for no bath.
        if cycle.outcome == Outcome::QuenchedEarly {
            return true;
        }
        let ripe = is_back(cycle, at) || (cycle.part_ms > BACK_MS && is_in_band(cycle, at));
        if !ripe {
            heat::step_aside(cycle, at, turn);
        }
        return ripe && heat::tank_is_ours(cycle, at, turn);
    }
    if is_back(cycle, at) {
        return true;
    }
    let due = cycle.part_ms > BACK_MS;
    if due {
        let text = format!(
            "{} is not back after {} min; the next part of load {} is called as it is.",
            at.plan.name,
            BACK_MS / 60_000,
            cycle.load.name
        );
        turn.say(at.id, Priority::Warning, text, EventBody::Noted);
    }
    due
}

/// What the next part has been asked for and goes into, for whoever says what a pull waits for.
#[derive(Clone, Copy, Debug)]
pub(crate) struct NextPart<'a> {
    /// A person was asked to take it out.
    pub(crate) called: bool,
    /// The bath that it goes into, if it goes into one.
    pub(crate) bath: Option<(&'a Tank, &'a TankPlan)>,
}

/// Writes what a pull waits for: a part that was called, or what keeps the next one from being called.
pub(super) fn waits_for(cycle: &Cycle, at: &At<'_>, next: &NextPart<'_>, into: &mut String) -> std::fmt::Result {
    let (part, parts, name) = (cycle.parts_under + 1, cycle.load.parts.max(1), &at.plan.name);
    if next.called {
        return write!(into, "part {part} of {parts} to be under");
    }
    let first = cycle.parts_under == 0;
    if let Some((_, plan)) = next.bath.filter(|(tank, _)| tank.latched) {
        write!(into, "{} to cool below its margin and to be reset", plan.name)?;
    } else if let Some(wanted_c) = cycle.wanted_c.filter(|_| !is_in_band(cycle, at)) {
        write!(into, "{name} to be back at {wanted_c:.0} °C, now {:.0} °C,", at.last_c.unwrap_or(f64::NAN))?;
    } else if !is_back(cycle, at) {
        write!(into, "the atmosphere of {name} to be back under its limit")?;
    } else if let Some((_, plan)) = next.bath.filter(|(tank, _)| first && tank.waits(at.id)) {
        write!(into, "its turn at {}", plan.name)?;
    } else if let Some((_, plan)) = next.bath.filter(|_| first) {
        write!(into, "{} to be ready", plan.name)?;
    } else {
        return write!(into, "part {part} of {parts} to be called");
    }
    write!(into, " before part {part} of {parts} is called")
}

/// A call stands for as long as what it was made on, until the door opens for the part: a bath that came too near its flash point, or
/// that was in its window and can no longer be read before the first part, takes it back. Without a switch at the door the part may be
/// out already.
fn take_back(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    if cycle.transfer_ms.is_some() || at.facts.door != Door::Shut {
        return;
    }
    let Some(id) = route::tank_ahead(cycle) else { return };
    let (Some(tank), Some(plan)) = (turn.tanks.get(id.index()), turn.plan.tanks.get(id.index())) else { return };
    let first = cycle.parts_under == 0 && cycle.outcome != Outcome::QuenchedEarly;
    let relied_on = first && !at.rows.row(InterlockKind::QuenchReadiness).is_bypassed();
    if !tank.latched && (tank.temperature.is_some() || !relied_on) {
        return;
    }
    let mut why = String::new();
    tank.say(plan, &mut why);
    turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::PartUnder);
    let text = format!("Do not open {} for load {}: {why} It waits at heat with the door shut.", at.plan.name, cycle.load.name);
    turn.say(at.id, Priority::Urgent, text, EventBody::Noted);
}

fn call(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (part, parts) = (cycle.parts_under + 1, cycle.load.parts.max(1));
    let (load, name) = (&cycle.load.name, &at.plan.name);
    let mut bath_words = String::new();
    let mut into = match medium(cycle) {
        Some(Medium::Plates) => "between the plates".to_owned(),
        Some(Medium::Air) => "into still air".to_owned(),
        Some(Medium::Tank(_)) | None => "under".to_owned(),
    };
    if let Some(id) = route::tank_ahead(cycle)
        && let (Some(tank), Some(plan)) = (turn.tanks.get(id.index()), turn.plan.tanks.get(id.index()))
    {
        into = format!("under in {}", plan.name);
        let ends_c = tank.temperature.and_then(|now_c| Some((now_c, bath::ends_at_c(cycle, plan, now_c)?)));
        if let Some((now_c, ends_c)) = ends_c {
            bath_words = format!(" {} is at {now_c:.0} °C and will be near {ends_c:.0} °C after the last part.", plan.name);
        }
        if cycle.parts_under > 0 && !tank.ready {
            let mut why = String::new();
            tank.say(plan, &mut why);
            let text = format!("Part {part} of load {load} goes in all the same, since the sequence has begun: {why}");
            turn.say(at.id, Priority::Warning, text, EventBody::Noted);
        }
    }
    turn.questions.ask(at.id, Purpose::PartUnder, turn.now, turn.events, || {
        let text = format!("Take part {part} of {parts} of load {load} out of {name} and say when it is {into}.{bath_words}");
        Asked { priority: Priority::Urgent, ..Asked::to_do(Ask::PartUnder { part, of: parts }, text) }
    });
}

/// What the parts go into after this pull.
fn medium(cycle: &Cycle) -> Option<Medium> {
    let next = cycle.load.steps.get(usize::from(cycle.index) + 1)?;
    if let Step::Quench { medium, .. } = next { Some(*medium) } else { None }
}

/// A switch at the tank saw the part go under, after the door had opened for it.
fn tank_tells(cycle: &Cycle, turn: &Turn<'_>) -> bool {
    let tank = route::tank_ahead(cycle).and_then(|id| turn.tanks.get(id.index()));
    cycle.transfer_ms.is_some() && tank.is_some_and(|tank| tank.went_under)
}

/// Counts the seconds of a part that was asked for, from the door that opened. Before people are heard, so that none is lost.
pub(crate) fn watch_door(cycle: &mut Cycle, door: Door, dt_ms: u64) {
    cycle.transfer_ms = match cycle.transfer_ms {
        None if door == Door::Open => Some(0),
        so_far_ms => so_far_ms.map(|so_far_ms| so_far_ms + dt_ms),
    };
}

/// A part is under, a person says.
pub(crate) fn part_under(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let Some(&Step::Pull { window }) = cycle.step() else { return };
    cycle.parts_under += 1;
    // The part that was quenched first cracks first.
    cycle.since_quench_ms = cycle.since_quench_ms.or(Some(0));
    let since_asked_ms = cycle.part_ms;
    let (transfer_ms, measured) = match cycle.transfer_ms.take() {
        Some(transfer_ms) => (transfer_ms, true),
        None => (since_asked_ms, false),
    };
    cycle.part_ms = 0;
    let in_time = u128::from(transfer_ms) <= window.as_millis();
    let (part, load, name) = (cycle.parts_under, cycle.load.name.clone(), &at.plan.name);
    let seconds = transfer_ms as f64 / 1000.0;
    let text = match (measured, in_time) {
        (true, true) => format!("Part {part} of load {load} from {name} is under {seconds:.1} s after the door opened."),
        (true, false) => {
            format!(
                "Part {part} of load {load} from {name} is under {seconds:.1} s after the door opened: later than its window of {} s.",
                window.as_secs()
            )
        }
        (false, _) => format!(
            "Part {part} of load {load} from {name} is under; no door switch saw the door open, so its seconds are not known."
        ),
    };
    let priority = if in_time || !measured { Priority::Notice } else { Priority::Warning };
    turn.say(at.id, priority, text, EventBody::PartUnder { load, part, transfer_ms, in_time });
}

pub(super) fn quench(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, under: Duration) -> bool {
    cycle.wanted_c = None;
    let done = u128::from(cycle.step_ms) >= under.as_millis();
    if done {
        route::free_tanks(at.id, turn);
    }
    done
}

fn is_back(cycle: &Cycle, at: &At<'_>) -> bool {
    is_in_band(cycle, at) && (!cycle.wants_gas() || at.plan.gas.is_none() || !at.recovering)
}

/// The chamber is at the heat that the parts are pulled from, in the band of the soak before them.
fn is_in_band(cycle: &Cycle, at: &At<'_>) -> bool {
    let Some(wanted_c) = cycle.wanted_c else { return true };
    let mut before = cycle.load.steps.iter().take(usize::from(cycle.index)).rev();
    let soaked = before.find_map(|step| if let Step::Soak { band, .. } = step { Some(*band) } else { None });
    let band_k = in_kelvins(soaked.flatten().unwrap_or(at.plan.band));
    at.read_c().is_some_and(|read_c| (read_c - wanted_c).abs() <= band_k)
}
