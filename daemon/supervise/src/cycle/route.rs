//! The way ahead of a load: its tank, its hottest step, the furnace that tempers it.

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{FurnaceId, TankId};

use super::{At, Cycle, Stage, Turn, heat, say_began, steel, wait, words};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::gas::{hot_c, scaling_c};
use crate::plan::FurnacePlan;
use crate::questions::{Asked, Purpose};
use crate::recipe::{Medium, Step};
use crate::request::Ask;

fn ahead(cycle: &Cycle) -> &[Step] {
    cycle.load.steps.get(usize::from(cycle.index)..).unwrap_or_default()
}

/// The tank that the route leads to from here, while the load still has to go in.
pub(crate) fn tank_ahead(cycle: &Cycle) -> Option<TankId> {
    if cycle.stage == Stage::Ending {
        return None;
    }
    ahead(cycle).iter().find_map(|step| match step {
        Step::Quench { medium: Medium::Tank(tank), .. } => Some(*tank),
        _ => None,
    })
}

/// The hottest that the load still gets before it is quenched or has left this furnace, in °C.
pub(crate) fn highest_c(cycle: &Cycle) -> f64 {
    let mut highest_c = f64::NEG_INFINITY;
    for (place, step) in ahead(cycle).iter().enumerate() {
        match step {
            Step::Quench { .. } => break,
            Step::Temper { .. } if place > 0 => break,
            _ => highest_c = step.heats_to().map(in_celsius).map_or(highest_c, |to_c| highest_c.max(to_c)),
        }
    }
    highest_c.max(cycle.wanted_c.unwrap_or(f64::NEG_INFINITY))
}

/// The hottest that the load was to see since it was last quenched, this step with it, in °C.
pub(super) fn hottest_so_far_c(cycle: &Cycle) -> f64 {
    let so_far = cycle.load.steps.iter().take(usize::from(cycle.index) + 1).rev();
    let hot = so_far.take_while(|step| !matches!(step, Step::Quench { .. })).filter_map(Step::heats_to);
    hot.map(in_celsius).fold(f64::NEG_INFINITY, f64::max)
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
    let own = cycle
        .load
        .steps
        .iter()
        .rev()
        .find_map(|step| if let Step::Cool { to, .. } = step { Some(in_celsius(*to)) } else { None });
    own.unwrap_or_else(|| scaling_c(plan))
}

/// Chamber and load, as far as its temperature is known, have cooled until the load may be taken out.
pub(super) fn is_cool(cycle: &Cycle, at: &At<'_>) -> bool {
    let safe_c = safe_c(cycle, at.plan);
    let chamber = at.read_c().is_some_and(|read_c| read_c <= safe_c);
    // A thermometer at the load that cannot be read leaves what is estimated of it.
    let load_c = steel::load_c(cycle, at).or(cycle.steel_c);
    chamber && load_c.is_none_or(|load_c| load_c <= safe_c)
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
        let due = temper_due_ms(cycle).map_or(String::new(), |due_ms| format!(" It is due within {}.", words::span(due_ms)));
        let text = format!("Put load {load} into {name} for its temper, shut the door, and say so.{due}");
        Asked::to_do(Ask::Transfer { to: name }, text)
    });
}

/// The load is in the furnace that tempers it, a person says. `at` is that furnace.
pub(crate) fn arrived(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Result<(), String> {
    if at.facts.door == Door::Open {
        return Err(format!("The door of {} reads open: shut it, then say so again.", at.plan.name));
    }
    // A later step of a load under way is no start: steel that was hardened must be tempered soon. A load that begins with it is one.
    if let Some(why) = wait::forbids(turn.shop, at.now).filter(|_| cycle.index == 0) {
        return Err(format!("Load {} may not begin, since {why}. Mend that, then say so again.", cycle.load.name));
    }
    (cycle.stage, cycle.out, cycle.moves_to, cycle.step_ms) = (Stage::Running, false, None, 0);
    let hot = at.read_c().is_some_and(|read_c| read_c > hot_c(at.plan));
    cycle.charged_hot = cycle.wants_gas() && hot;
    // The first temper is the one that was due; later ones wait for nothing.
    cycle.since_quench_ms = None;
    steel::put_in(cycle);
    if let Some(&Step::Temper { at: temper, .. }) = cycle.step() {
        heat::begin_band(cycle, at, temper, None);
    }
    say_began(cycle, at, turn);
    Ok(())
}

/// How long the temper may still wait, in milliseconds, once the load was quenched; zero when it is overdue.
pub(crate) fn temper_due_ms(cycle: &Cycle) -> Option<u64> {
    let within =
        ahead(cycle).iter().find_map(|step| if let Step::Temper { within, .. } = step { Some(*within) } else { None })?;
    let within_ms = u64::try_from(within.as_millis()).unwrap_or(u64::MAX);
    Some(within_ms.saturating_sub(cycle.since_quench_ms?))
}

/// Says once that the temper is overdue.
pub(super) fn watch_overdue(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    if cycle.overdue || temper_due_ms(cycle) != Some(0) {
        return;
    }
    let text =
        format!("The temper of load {} from {} is overdue: temper it now, or it may crack.", cycle.load.name, at.plan.name);
    cycle.overdue = true;
    turn.say(at.id, Priority::Warning, text, EventBody::Noted);
}
