//! Pull and quench: parts out one by one, the seconds until each is under, the time under.

use std::time::Duration;

use hearthward_equipment::TankId;
use hearthward_equipment::quantity::in_kelvins;

use super::{At, Cycle, Turn, route};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::questions::{Asked, Purpose};
use crate::recipe::Step;
use crate::request::Ask;

/// Between two parts the furnace comes back into so many bands first...
const BACK_BANDS: f64 = 2.0;
/// ...but no longer than this: the steel would rather be under (assumed, no source).
const BACK_MS: u64 = 5 * 60_000;

pub(super) fn begin(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    cycle.parts_under = 0;
    if let Some(tank) = route::tank_ahead(cycle).and_then(|id| turn.tanks.get_mut(id.index())) {
        tank.hold(at.id);
    }
}

pub(super) fn pull(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, _window: Duration) -> bool {
    let parts = cycle.load.parts.max(1);
    if cycle.parts_under >= parts {
        cycle.out = true;
        cycle.wanted_c = None;
        cycle.since_quench_ms = Some(0);
        return true;
    }
    if cycle.held {
        return false;
    }
    if turn.questions.find(at.id, Purpose::PartUnder).is_some() {
        return false;
    }
    let near_flash = route::tank_ahead(cycle).and_then(|id| turn.tanks.get(id.index())).is_some_and(|tank| tank.latched);
    let back = cycle.parts_under == 0 || cycle.part_ms > BACK_MS || is_back(cycle, at);
    if near_flash || !back {
        return false;
    }
    let (part, load, name) = (cycle.parts_under + 1, cycle.load.name.clone(), at.plan.name.clone());
    turn.questions.ask(at.id, Purpose::PartUnder, turn.now, turn.events, || {
        let text = format!("Take part {part} of {parts} of load {load} out of {name} and say when it is under.");
        Asked { priority: Priority::Urgent, ..Asked::to_do(Ask::PartUnder { part, of: parts }, text) }
    });
    false
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
    let Some(Step::Pull { window }) = cycle.step() else { return };
    let window = *window;
    cycle.parts_under += 1;
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

pub(super) fn quench(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, tank: TankId, under: Duration) -> bool {
    cycle.wanted_c = None;
    let done = u128::from(cycle.step_ms) >= under.as_millis();
    if done && let Some(tank) = turn.tanks.get_mut(tank.index()) {
        tank.release(at.id);
    }
    done
}

fn is_back(cycle: &Cycle, at: &At<'_>) -> bool {
    let Some(wanted_c) = cycle.wanted_c else { return true };
    at.facts.temperature.good().is_some_and(|read_c| (read_c - wanted_c).abs() <= BACK_BANDS * in_kelvins(at.plan.band))
}
