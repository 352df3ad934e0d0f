//! Questions that decide: what becomes of the steel, and whether to go on after an interruption.

use std::fmt::Write as _;

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_litres_per_minute};

use super::{
    At, Cycle, Outcome, Stage, Turn, can_quench, chamber, enter, load_c, pull, route, turn_to_end, turn_to_quench, wait, words,
};
use crate::event::Priority;
use crate::interlock::InterlockKind;
use crate::plan::SteelChoice;
use crate::questions::{Asked, Purpose};
use crate::recipe::StepKind;
use crate::request::{Ask, Choice};

/// Asks what becomes of the steel, once for as long as that row stands.
pub(crate) fn ask_about_steel(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, about: InterlockKind, because: String) {
    cycle.asked |= 1 << (about as u32);
    let quenchable_s = can_quench(cycle, at.plan, at.last_c);
    let silence = at.plan.on_silence;
    turn.questions.ask(at.id, Purpose::Steel(about), turn.now, turn.events, || {
        let mut choices = vec![Choice::Steel(SteelChoice::Finish), Choice::Steel(SteelChoice::SlowCoolUnderGas)];
        if quenchable_s.is_some() {
            choices.insert(0, Choice::Steel(SteelChoice::QuenchNow));
        }
        let then = if silence.then == SteelChoice::QuenchNow && quenchable_s.is_none() {
            SteelChoice::SlowCoolUnderGas
        } else {
            silence.then
        };
        let after_ms = u64::try_from(silence.after.as_millis()).unwrap_or(u64::MAX);
        let costs = costs(cycle, at, quenchable_s);
        let text =
            format!("{because} {costs} Without an answer: {} in {} s.", name(then, has_gas(cycle, at)), silence.after.as_secs());
        let default = Some((Choice::Steel(then), after_ms));
        Asked { ask: Ask::Steel { because, quenchable_s }, text, choices, default, priority: Priority::Urgent }
    });
}

/// What is known of a time in which nobody watched.
#[derive(Clone, Debug)]
pub(crate) struct Gone {
    /// What happened, and what everything is still worth.
    pub(crate) because: String,
    /// How long, in milliseconds; absent when nobody knows.
    pub(crate) away_ms: Option<u64>,
    /// The chamber before, in °C.
    pub(crate) before_c: Option<f64>,
}

/// Asks whether to go on after an interruption. Silence never heats. It is the one question about this load: what was asked before
/// is asked again if it goes on.
pub(crate) fn ask_to_go_on(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, gone: Gone) {
    (cycle.interrupted, cycle.transfer_ms) = (true, None);
    let quenchable_s = can_quench(cycle, at.plan, at.read_c());
    let silence = at.plan.on_silence;
    turn.questions.withdraw(at.id, turn.events, |purpose| !matches!(purpose, Purpose::GoOn | Purpose::TurnOff));
    turn.questions.ask(at.id, Purpose::GoOn, turn.now, turn.events, || {
        let mut choices = vec![Choice::GoOn];
        // Where no step runs there is none to begin again.
        choices.extend((cycle.stage == Stage::Running).then_some(Choice::RestartStep));
        choices.extend(quenchable_s.map(|_| Choice::Steel(SteelChoice::QuenchNow)));
        choices.extend([Choice::Steel(SteelChoice::SlowCoolUnderGas), Choice::End]);
        let after_ms = u64::try_from(silence.after.as_millis()).unwrap_or(u64::MAX);
        let default = Some((Choice::Steel(SteelChoice::SlowCoolUnderGas), after_ms));
        let Gone { because, away_ms, before_c } = gone;
        let gas = if has_gas(cycle, at) { ", with the gas that it has" } else { "" };
        let text = format!("{because} {} Without an answer it cools in the chamber{gas}.", ways(cycle, at));
        let (now_c, steel_c) = (at.read_c(), load_c(cycle, at));
        let ask = Ask::GoOn { because, away_ms, before_c, now_c, steel_c, quenchable_s };
        Asked { ask, text, choices, default, priority: Priority::Urgent }
    });
}

/// Does what was chosen. Says what happens next.
pub(crate) fn apply_choice(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, choice: Choice) -> String {
    let (load, name) = (cycle.load.name.clone(), at.plan.name.clone());
    let late = matches!(choice, Choice::Steel(_)) && (cycle.out || cycle.stage == Stage::Ending);
    if late {
        cycle.interrupted = false;
        let is = if cycle.out { "is out of the chamber" } else { "cools where it is" };
        return format!("Load {load} of {name} {is}: there is nothing left to decide about it, and it goes on.");
    }
    if choice != Choice::End && pull::is_emptied(cycle) {
        cycle.interrupted = false;
        return format!("All parts of load {load} are under: nothing of it is left in {name}, and it goes on.");
    }
    match choice {
        Choice::Steel(SteelChoice::QuenchNow) => {
            if turn_to_quench(cycle, at, turn) {
                format!("Load {load} in {name} is to be pulled and quenched now.")
            } else {
                turn_to_end(cycle, at, turn, Outcome::SlowCooled);
                format!("Load {load} in {name} cannot be quenched any more; it cools in the chamber.")
            }
        }
        Choice::Steel(SteelChoice::Finish) => format!("Load {load} in {name} goes on to its end."),
        Choice::Steel(SteelChoice::SlowCoolUnderGas) => {
            turn_to_end(cycle, at, turn, Outcome::SlowCooled);
            let gas = if has_gas(cycle, at) { ", with its gas on" } else { "" };
            format!("Load {load} in {name} cools in the chamber{gas}.")
        }
        Choice::GoOn => {
            cycle.interrupted = false;
            if cycle.stage == Stage::Waiting {
                wait::make_due(cycle, at);
            }
            format!("Load {load} in {name} goes on.")
        }
        Choice::RestartStep => {
            cycle.interrupted = false;
            if cycle.stage == Stage::Running {
                let index = cycle.index;
                enter(cycle, at, turn, index);
            }
            format!("Load {load} in {name} begins its step again.")
        }
        Choice::End => {
            turn_to_end(cycle, at, turn, Outcome::Aborted);
            let gas = if has_gas(cycle, at) { "its gas stays on until it is cool" } else { "its heat is off" };
            format!("The cycle of load {load} in {name} ends; {gas}.")
        }
    }
}

/// What each choice means after an interruption, and which has nothing to stand on.
fn ways(cycle: &Cycle, at: &At<'_>) -> String {
    let read_c = at.read_c();
    let purges = cycle.wants_gas() && at.plan.gas.is_some() && !cycle.out && !cycle.charged_hot && !at.purge.is_proved();
    let purging = cycle.kind() == StepKind::Purge;
    let purge = if purges && !purging { ", above its ceiling once its purge is proved anew" } else { "" };
    let on = if purging && !(at.purge.changes > 0.0) { "begins again" } else { "goes on where it was" };
    let mut text = match (read_c, cycle.stage) {
        (None, _) => format!("Go on: it heats once its chamber can be read{purge}."),
        (Some(_), Stage::Running) => {
            let program = cycle.program().map_or_else(String::new, |number| {
                format!(" Its controller is told to start its program {number} again: look in which segment it is.")
            });
            format!("Go on: its {} {on}{purge}.{program}", words::step(cycle.kind()))
        }
        (Some(_), _) => "Go on: it goes on from where it was.".to_owned(),
    };
    if cycle.stage == Stage::Running {
        let _ = write!(
            text,
            " Restart the step: its {} begins anew, and what was done of it counts no more.",
            words::step(cycle.kind())
        );
    }
    let _ = match can_quench(cycle, at.plan, read_c) {
        Some(left_s) => {
            write!(text, " Quench now: hot enough for another {}; its soak may be short.", words::span(u64::from(left_s) * 1000))
        }
        None => write!(text, " {}", cannot_quench(cycle, read_c)),
    };
    if !cycle.out {
        let safe_c = route::safe_c(cycle, at.plan);
        let hot_c = read_c.filter(|&read_c| read_c > safe_c);
        let long = hot_c.and_then(|read_c| chamber::falls_ms(at.plan, read_c, safe_c));
        let long = long.map(|long_ms| format!(", in about {} to {safe_c:.0} °C", words::span(long_ms))).unwrap_or_default();
        let _ = match route::is_cool(cycle, at) {
            true => write!(text, " Slow-cool: it is cool already, and its cycle is over."),
            false => write!(text, " Slow-cool: it stays soft{long}, and can be hardened again."),
        };
        if let Some(needed) = hot_c.filter(|_| cycle.wants_gas()).and_then(|hot_c| chamber::draws(at, hot_c)) {
            let litres = in_litres_per_minute(needed, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA);
            let _ = write!(
                text,
                " Too little gas is proved to flow for that: a chamber that cools draws air in, up to {litres:.2} L/min here, and the steel scales."
            );
        }
    }
    text.push_str(match has_gas(cycle, at) {
        true => " End: its cycle is over, and its gas stays on until it is cool.",
        false => " End: its cycle is over.",
    });
    text
}

/// Why the load cannot be quenched now.
fn cannot_quench(cycle: &Cycle, chamber_c: Option<f64>) -> &'static str {
    let pulls = route::pull_from(cycle).is_some() && !cycle.out;
    match chamber_c {
        _ if !pulls => "It cannot be quenched now: no pull lies ahead of it.",
        Some(_) => "It cannot be quenched now: it is too cool, and would have to come to heat again.",
        None => "It cannot be quenched now: its chamber cannot be read, so nobody knows whether it is hot enough.",
    }
}

/// Whether gas is there that can stay on.
fn has_gas(cycle: &Cycle, at: &At<'_>) -> bool {
    cycle.wants_gas() && at.plan.gas.is_some()
}

fn costs(cycle: &Cycle, at: &At<'_>, quenchable_s: Option<u32>) -> String {
    let finish = "Finish: the steel may scale or lose carbon, and its record says so; the cycle goes on.";
    let cool = match has_gas(cycle, at) {
        true => "Slow-cool under gas: the load stays soft and can be hardened again.",
        false => "Slow-cool: the load cools in its closed chamber, stays soft and can be hardened again.",
    };
    match quenchable_s {
        Some(left_s) if left_s >= 120 => {
            format!("Quench now: hot enough for another {} min, its soak may be short. {finish} {cool}", left_s / 60)
        }
        Some(left_s) => format!("Quench now: hot enough for another {left_s} s, its soak may be short. {finish} {cool}"),
        None => format!("{} {finish} {cool}", cannot_quench(cycle, at.last_c)),
    }
}

fn name(choice: SteelChoice, gas: bool) -> &'static str {
    match choice {
        SteelChoice::QuenchNow => "it is called to be quenched",
        SteelChoice::Finish => "the cycle is finished",
        SteelChoice::SlowCoolUnderGas if gas => "it cools slowly under gas",
        SteelChoice::SlowCoolUnderGas => "it cools slowly in its chamber",
    }
}
