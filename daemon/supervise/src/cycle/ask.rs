//! Questions that decide: what becomes of the steel, and whether to go on after an interruption.

use super::{At, Cycle, Outcome, Stage, Turn, can_quench, enter, load_c, turn_to_end, turn_to_quench};
use crate::event::Priority;
use crate::interlock::InterlockKind;
use crate::plan::SteelChoice;
use crate::questions::{Asked, Purpose};
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
        let text =
            format!("{because} {} Without an answer: {} in {} s.", costs(quenchable_s), name(then), silence.after.as_secs());
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
    let quenchable_s = can_quench(cycle, at.plan, at.facts.temperature.good());
    let silence = at.plan.on_silence;
    turn.questions.withdraw(at.id, turn.events, |purpose| !matches!(purpose, Purpose::GoOn | Purpose::TurnOff));
    turn.questions.ask(at.id, Purpose::GoOn, turn.now, turn.events, || {
        let mut choices = vec![Choice::GoOn, Choice::RestartStep, Choice::Steel(SteelChoice::SlowCoolUnderGas), Choice::End];
        if quenchable_s.is_some() {
            choices.insert(2, Choice::Steel(SteelChoice::QuenchNow));
        }
        let after_ms = u64::try_from(silence.after.as_millis()).unwrap_or(u64::MAX);
        let default = Some((Choice::Steel(SteelChoice::SlowCoolUnderGas), after_ms));
        let Gone { because, away_ms, before_c } = gone;
        let text = format!("{because} Shall it go on? Without an answer it cools in the chamber with its gas on.");
        let (now_c, steel_c) = (at.facts.temperature.good(), load_c(cycle, at));
        let ask = Ask::GoOn { because, away_ms, before_c, now_c, steel_c, quenchable_s };
        Asked { ask, text, choices, default, priority: Priority::Urgent }
    });
}

/// Does what was chosen. Says what happens next.
pub(crate) fn apply_choice(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, choice: Choice) -> String {
    let (load, name) = (cycle.load.name.clone(), at.plan.name.clone());
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
            format!("Load {load} in {name} cools in the chamber, with its gas on.")
        }
        Choice::GoOn => {
            cycle.interrupted = false;
            // Its time is not known any more: it begins.
            cycle.ready_ms = cycle.ready_ms.map(|_| 0);
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
            format!("The cycle of load {load} in {name} ends; its gas stays on until it is cool.")
        }
    }
}

fn costs(quenchable_s: Option<u32>) -> String {
    let finish = "Finish: the steel may scale or soften its record, the cycle goes on.";
    let cool = "Slow-cool under gas: the load stays soft and can be hardened again.";
    match quenchable_s {
        Some(left_s) if left_s >= 120 => {
            format!("Quench now: hot enough for another {} min, its soak may be short. {finish} {cool}", left_s / 60)
        }
        Some(left_s) => format!("Quench now: hot enough for another {left_s} s, its soak may be short. {finish} {cool}"),
        None => format!("It is too cool to be quenched. {finish} {cool}"),
    }
}

fn name(choice: SteelChoice) -> &'static str {
    match choice {
        SteelChoice::QuenchNow => "it is called to be quenched",
        SteelChoice::Finish => "the cycle is finished",
        SteelChoice::SlowCoolUnderGas => "it cools slowly under gas",
    }
}
