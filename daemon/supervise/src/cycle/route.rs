//! The way ahead of a load: its tank, its hottest step, the furnace that tempers it.

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{FurnaceId, TankId};

use super::{At, Cycle, Stage, Turn, say_began};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::gas::{hot_c, scaling_c};
use crate::plan::FurnacePlan;
use crate::questions::{Asked, Purpose};
use crate::recipe::Step;
use crate::request::Ask;

fn ahead(cycle: &Cycle) -> &[Step] {
    cycle.load.steps.get(usize::from(cycle.index)..).unwrap_or_default()
}

/// The tank that the route leads to from here, while the load still has to go in.
pub(crate) fn tank_ahead(cycle: &Cycle) -> Option<TankId> {
    if cycle.stage == Stage::Ending {
        return None;
    }
    ahead(cycle).iter().find_map(|step| if let Step::Quench { tank, .. } = step { Some(*tank) } else { None })
}

/// The hottest that the load still gets before it is quenched or has left this furnace, in °C.
pub(crate) fn highest_c(cycle: &Cycle) -> f64 {
    let mut highest_c = f64::NEG_INFINITY;
    for (place, step) in ahead(cycle).iter().enumerate() {
        let target = match step {
            Step::Preheat { to, .. } | Step::Ramp { to, .. } => *to,
            Step::Soak { at, .. } => *at,
            Step::Temper { at, .. } if place == 0 => *at,
            Step::Quench { .. } | Step::Temper { .. } => break,
            Step::Purge | Step::Pull { .. } | Step::Cool { .. } => continue,
        };
        highest_c = highest_c.max(in_celsius(target));
    }
    highest_c.max(cycle.wanted_c.unwrap_or(f64::NEG_INFINITY))
}

/// The pull that comes next, if there is one.
pub(super) fn pull_from(cycle: &Cycle) -> Option<u16> {
    let place = ahead(cycle).iter().position(|step| matches!(step, Step::Pull { .. }))?;
    u16::try_from(usize::from(cycle.index) + place).ok()
}

/// Whether the steel can still be quenched, and for how many seconds.
pub(crate) fn can_quench(cycle: &Cycle, plan: &FurnacePlan, last_c: Option<f64>) -> Option<u32> {
    pull_from(cycle)?;
    let over_k = last_c? - in_celsius(plan.still_quenchable);
    let left_s = over_k / plan.falls_k_per_s.max(1e-6);
    (!cycle.out && left_s > 0.0).then(|| libm::floor(left_s.min(86_400.0)) as u32)
}

/// The temperature at which an ended load may be taken out: its own last cooling step, else where steel does not scale.
pub(super) fn safe_c(cycle: &Cycle, plan: &FurnacePlan) -> f64 {
    let own =
        cycle.load.steps.iter().rev().find_map(|step| if let Step::Cool { to } = step { Some(in_celsius(*to)) } else { None });
    own.unwrap_or_else(|| scaling_c(plan))
}

/// No tank is held or waited for.
pub(crate) fn free_tanks(furnace: FurnaceId, turn: &mut Turn<'_>) {
    for tank in turn.tanks.iter_mut() {
        tank.release(furnace);
    }
}

/// Asks to put the load into the furnace that tempers it.
pub(super) fn ask_transfer(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, to: FurnaceId) {
    cycle.stage = Stage::Transferring;
    cycle.moves_to = Some(to);
    let Some(target) = turn.plan.furnace(to) else { return };
    let (name, load) = (target.name.clone(), cycle.load.name.clone());
    turn.questions.ask(at.id, Purpose::Transfer, turn.now, turn.events, || {
        let text = format!("Put load {load} into {name} for its temper, shut the door, and say so.");
        Asked::to_do(Ask::Transfer { to: name }, text)
    });
}

/// The load is in the furnace that tempers it, a person says. `at` is that furnace.
pub(crate) fn arrived(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Result<(), String> {
    if at.facts.door == Door::Open {
        return Err(format!("The door of {} reads open: shut it, then say so again.", at.plan.name));
    }
    (cycle.stage, cycle.out, cycle.moves_to, cycle.step_ms) = (Stage::Running, false, None, 0);
    let hot = at.facts.temperature.good().is_some_and(|read_c| read_c > hot_c(at.plan));
    cycle.charged_hot = cycle.wants_gas() && hot;
    say_began(cycle, at, turn);
    Ok(())
}

/// Says once that the temper is overdue.
pub(super) fn watch_overdue(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (Some(Step::Temper { within, .. }), Some(since_ms)) = (cycle.step(), cycle.since_quench_ms) else { return };
    if cycle.overdue || u128::from(since_ms) <= within.as_millis() {
        return;
    }
    let minutes = within.as_secs() / 60;
    let text = format!(
        "Load {} from {} was to be tempered within {minutes} min of its quench: temper it now, or it may crack.",
        cycle.load.name, at.plan.name
    );
    cycle.overdue = true;
    turn.say(at.id, Priority::Warning, text, EventBody::Noted);
}
