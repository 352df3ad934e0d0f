//! A load's cycle: which step it is in, what heat it wants, what it waits for.
//!
//! A cycle wants; the interlocks permit. Nothing here can make a furnace heat.

mod ask;
mod bath;
mod chamber;
mod ends;
mod heat;
mod program;
mod pull;
mod route;
mod state;
mod steel;
mod wait;
mod words;

use hearthward_equipment::quantity::in_celsius;

pub(crate) use ask::{Gone, apply_choice, ask_about_steel, ask_to_go_on};
pub(crate) use bath::{flash_limit_c, warmest_c};
pub(crate) use chamber::falls_to_c;
pub(crate) use ends::{skip, turn_to_end, turn_to_quench};
pub(crate) use heat::cooled;
pub(crate) use program::{is_off as program_is_off, words as program_words};
pub(crate) use pull::{NextPart, is_emptied, part_under, watch_door};
pub(crate) use route::{arrived, can_quench, free_tanks, highest_c, tank_ahead, temper_due_ms};
pub(crate) use state::{At, Cycle, FurnaceNow, Outcome, ShopNow, Stage, Turn, believed_c};
pub(crate) use steel::{follow, follow_through, load_c};
pub(crate) use wait::{Waits, forbids, may_wait};
pub(crate) use words::{span, waiting_for};

use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::gas::hot_c;
use crate::interlock::InterlockKind;
use crate::purge::PurgePhase;
use crate::questions::{Asked, Purpose};
use crate::recipe::{Step, StepKind};
use crate::request::Ask;

/// The cycle begins: says so, and asks for the load.
pub(crate) fn begin(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (name, load) = (&at.plan.name, &cycle.load);
    let steps = u16::try_from(load.steps.len()).unwrap_or(u16::MAX);
    let body = EventBody::CycleBegan { load: load.name.clone(), steel: load.steel.clone(), steps };
    turn.say(at.id, Priority::Notice, format!("The cycle of load {} ({}) began in {name}.", load.name, load.steel), body);
    if let Some(words) = program::words(load, at.plan) {
        turn.say(at.id, Priority::Notice, words, EventBody::Noted);
    }
    let load = load.name.clone();
    let when = if cycle.ready_ms.is_some() && !cycle.alone { "When you are there to begin: put" } else { "Put" };
    turn.questions.ask(at.id, Purpose::LoadAndShut, turn.now, turn.events, || {
        Asked::to_do(Ask::LoadAndShut, format!("{when} load {load} into {name}, shut the door, and say so."))
    });
}

/// The load is in and the door is shut, a person says.
pub(crate) fn loaded(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Result<(), String> {
    if matches!(at.facts.door, Door::Open) {
        return Err(format!("The door of {} reads open: shut it, then say so again.", at.plan.name));
    }
    if let Some(why) = forbids(turn.shop, at.now) {
        return Err(format!("Nothing begins in {} now, since {why}: mend that, then say so again.", at.plan.name));
    }
    cycle.out = false;
    // Unknown counts as cold, which asks for the purge.
    cycle.charged_hot = cycle.wants_gas() && at.read_c().is_some_and(|read_c| read_c > hot_c(at.plan));
    steel::put_in(cycle);
    if cycle.alone && !wait::is_due(cycle, at) {
        wait::begin(cycle, at, turn);
        return Ok(());
    }
    cycle.ready_ms = None;
    cycle.stage = Stage::Running;
    let index = cycle.index;
    enter(cycle, at, turn, index);
    Ok(())
}

/// Lets a tick pass over a cycle. Says how it ended, if it did.
pub(crate) fn step(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Option<Outcome> {
    if let Some(since_ms) = &mut cycle.since_quench_ms {
        // A time that nobody knows counts as one that never ends, and two of them too.
        *since_ms = since_ms.saturating_add(turn.dt_ms);
    }
    cycle.step_ms += turn.dt_ms;
    cycle.part_ms += turn.dt_ms;
    cycle.ready_ms = cycle.ready_ms.map(|ready_ms| ready_ms.saturating_sub(turn.dt_ms));
    watch(cycle, at, turn.dt_ms);
    if cycle.interrupted {
        return None;
    }
    match cycle.stage {
        Stage::Loading => {
            wait::prepare(cycle, at, turn);
            None
        }
        Stage::Waiting => {
            wait::prepare(cycle, at, turn);
            wait::wait(cycle, at, turn);
            None
        }
        Stage::Transferring => {
            // An interruption's own question put this one away.
            if let Some(to) = cycle.moves_to
                && turn.questions.find(at.id, Purpose::Transfer).is_none()
            {
                route::ask_transfer(cycle, at, turn, to);
            }
            route::watch_overdue(cycle, at, turn);
            None
        }
        Stage::Ending => {
            cycle.wanted_c = None;
            (cycle.out || route::is_cool(cycle, at)).then_some(cycle.outcome)
        }
        Stage::Running => {
            route::watch_overdue(cycle, at, turn);
            run(cycle, at, turn)
        }
    }
}

/// Keeps what an interruption would be judged by: how long nothing was read, where the chamber was before, where the steel is.
fn watch(cycle: &mut Cycle, at: &At<'_>, dt_ms: u64) {
    if at.rows.row(InterlockKind::DriverLost).cause() {
        cycle.unwatched_ms = cycle.unwatched_ms.saturating_add(dt_ms);
        return;
    }
    // What was lost and is not answered for yet is still to be told.
    let untold = at.rows.row(InterlockKind::DriverLost).is_latched() && !cycle.lost;
    if !cycle.interrupted && !untold {
        (cycle.unwatched_ms, cycle.seen_c) = (0, at.read_c().or(cycle.seen_c));
    }
    if !cycle.out {
        follow(cycle, at.read_c(), dt_ms as f64 / 1000.0);
    }
}

fn run(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Option<Outcome> {
    let Some(step) = cycle.step().cloned() else { return Some(cycle.outcome) };
    let done = match &step {
        Step::Purge => {
            cycle.wanted_c = None;
            say_if_no_gas_comes(cycle, at, turn);
            at.purge.is_proved() || cycle.charged_hot
        }
        Step::Preheat { to, hold } => heat::preheat(cycle, at, turn, *to, *hold),
        Step::Ramp { to, .. } => heat::ramp(cycle, at, *to),
        Step::Soak { at: soak, band, minimum, maximum } => {
            heat::soak(cycle, at, turn, heat::SoakStep { at: *soak, band: *band, minimum: *minimum, maximum: *maximum })
        }
        Step::Pull { .. } => pull::pull(cycle, at, turn),
        Step::Quench { under, .. } => pull::quench(cycle, at, turn, *under),
        Step::Cool { to, in_air } => heat::cool(cycle, at, turn, *to, *in_air),
        Step::Temper { at: temper, hold, .. } => heat::temper(cycle, at, turn, *temper, *hold),
    };
    if !done || cycle.held {
        return None;
    }
    leave(cycle, at, turn, !matches!(step, Step::Purge) || at.purge.is_proved());
    let next = cycle.index + 1;
    if usize::from(next) >= cycle.load.steps.len() {
        return ends::finish(cycle, at);
    }
    enter(cycle, at, turn, next);
    None
}

/// A purge whose flow is not proved after this long is told to people (common practice, no source: a valve left shut shows at once).
const NO_GAS_MS: u64 = 60_000;

/// Says once a step that the gas does not come.
fn say_if_no_gas_comes(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let due = cycle.step_ms >= NO_GAS_MS && cycle.step_ms - turn.dt_ms < NO_GAS_MS;
    let waits = matches!(at.purge.phase, PurgePhase::Idle | PurgePhase::Settling);
    if due && waits && !at.rows.stands(InterlockKind::SharedSupply) {
        let name = &at.plan.name;
        let text = format!(
            "{name}: the purge cannot begin, since its meter does not show the purge flow. Open the valve, look at the cylinder and the meter."
        );
        turn.say(at.id, Priority::Warning, text, EventBody::Noted);
    }
}

/// A step begins.
pub(crate) fn enter(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, index: u16) {
    cycle.index = index;
    (cycle.step_ms, cycle.part_ms, cycle.in_band_ms, cycle.transfer_ms, cycle.extended) = (0, 0, 0, None, false);
    (cycle.ramp_k_per_s, cycle.core_lag_ms, cycle.cooled) = (None, 0, false);
    let Some(step) = cycle.step().cloned() else { return };
    match step {
        Step::Ramp { to, pace } => heat::begin_ramp(cycle, at, to, pace),
        Step::Preheat { to, .. } => {
            cycle.wanted_c = Some(in_celsius(to));
            heat::begin_band(cycle, at, to, None);
        }
        Step::Soak { at: soak, band, .. } => {
            cycle.wanted_c = Some(in_celsius(soak));
            heat::begin_band(cycle, at, soak, band);
        }
        Step::Pull { .. } => pull::begin(cycle, at, turn),
        Step::Temper { at: temper, furnace, .. } => {
            cycle.wanted_c = None;
            heat::begin_band(cycle, at, temper, None);
            if cycle.out || furnace.is_some_and(|to| to != at.id) {
                route::ask_transfer(cycle, at, turn, furnace.unwrap_or(at.id));
                return;
            }
        }
        Step::Purge | Step::Quench { .. } | Step::Cool { .. } => cycle.wanted_c = None,
    }
    say_began(cycle, at, turn);
}

/// Says that the step began.
pub(crate) fn say_began(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (name, load, kind) = (&at.plan.name, &cycle.load.name, cycle.kind());
    let body = EventBody::StepBegan { load: load.clone(), index: cycle.index, step: kind };
    turn.say(at.id, Priority::Notice, format!("{name}: {} of load {load} began.", words::step(kind)), body);
}

/// A step ends.
pub(crate) fn leave(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, complete: bool) {
    let (name, load, kind) = (&at.plan.name, cycle.load.name.clone(), cycle.kind());
    if kind == StepKind::Soak {
        cycle.soaked_ms += cycle.in_band_ms;
    }
    let took_ms = cycle.step_ms;
    let how = match (complete, kind) {
        (true, _) => "is complete",
        (false, StepKind::Purge) if cycle.charged_hot => "is not needed, since its chamber was hot when it went in: it is over",
        (false, _) => "was ended early",
    };
    let text = format!("{name}: {} of load {load} {how} after {}.", words::step(kind), words::span(took_ms));
    let body = EventBody::StepEnded { load, index: cycle.index, step: kind, took_ms, complete };
    turn.say(at.id, Priority::Notice, text, body);
    turn.questions.withdraw(at.id, turn.events, |purpose| {
        matches!(purpose, Purpose::PartUnder | Purpose::BringBath | Purpose::LoadAndShut | Purpose::Transfer | Purpose::LetCool)
    });
}
