//! The steps that heat or let cool: preheat, ramp, soak, cool, temper. Each says whether it is complete.

use std::time::Duration;

use hearthward_equipment::quantity::{Temperature, TemperatureStep, in_celsius, in_kelvins};

use super::{At, Cycle, Turn, ask_about_steel, route};
use crate::facts::Door;
use crate::interlock::InterlockKind;
use crate::questions::{Asked, Purpose};
use crate::recipe::Step;
use crate::request::Ask;

/// How far a moving set point may run ahead of the furnace, in bands: beyond it the ramp waits for the load.
const AHEAD_BANDS: f64 = 3.0;

/// A soak's numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct SoakStep {
    pub(super) at: Temperature,
    pub(super) band: Option<TemperatureStep>,
    pub(super) minimum: Duration,
    pub(super) maximum: Duration,
}

pub(super) fn preheat(cycle: &mut Cycle, at: &At<'_>, turn: &Turn<'_>, to: Temperature, hold: Duration) -> bool {
    let to_c = in_celsius(to);
    cycle.wanted_c = Some(to_c);
    count_in_band(cycle, at, turn, to_c, in_kelvins(at.plan.band));
    u128::from(cycle.in_band_ms) >= hold.as_millis() && is_in_band(at, to_c, in_kelvins(at.plan.band))
}

pub(super) fn ramp(cycle: &mut Cycle, at: &At<'_>, turn: &Turn<'_>, to: Temperature, rate_k_per_h: Option<f64>) -> bool {
    let (to_c, band_k) = (in_celsius(to), in_kelvins(at.plan.band));
    let read_c = at.facts.temperature.good();
    let from_c = cycle.wanted_c.or(read_c);
    cycle.wanted_c = match (rate_k_per_h, from_c) {
        (Some(rate), Some(from_c)) if rate > 0.0 => {
            let ahead_k = read_c.map_or(f64::INFINITY, |read_c| (from_c - read_c).abs());
            let moves = !cycle.held && at.rows.withholding().next().is_none() && ahead_k <= AHEAD_BANDS * band_k;
            let step_k = if moves { rate / 3600.0 * at.facts.dt_s } else { 0.0 };
            Some(if to_c >= from_c { (from_c + step_k).min(to_c) } else { (from_c - step_k).max(to_c) })
        }
        (Some(_), None) => None,
        _ => Some(to_c),
    };
    let _ = turn;
    let load = at.facts.load.good().is_none_or(|load_c| load_c >= to_c - band_k) || at.plan.load_temperature.is_none();
    is_in_band(at, to_c, band_k) && load
}

pub(super) fn soak(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, step: SoakStep) -> bool {
    let soak_c = in_celsius(step.at);
    let band_k = in_kelvins(step.band.unwrap_or(at.plan.band));
    cycle.wanted_c = Some(soak_c);
    count_in_band(cycle, at, turn, soak_c, band_k);
    if u128::from(cycle.in_band_ms) < step.minimum.as_millis() {
        return false;
    }
    let next_pulls = matches!(cycle.load.steps.get(usize::from(cycle.index) + 1), Some(Step::Pull { .. }));
    if !next_pulls || cycle.held || tank_is_ours(cycle, at, turn) {
        return true;
    }
    if u128::from(cycle.in_band_ms) >= step.maximum.as_millis() && !cycle.extended {
        cycle.extended = true;
        let because =
            format!("The soak of load {} in {} is at its maximum and the tank is not ready.", cycle.load.name, at.plan.name);
        ask_about_steel(cycle, at, turn, InterlockKind::QuenchReadiness, because);
    }
    false
}

/// The call to pull: the tank is held for this load and ready. Otherwise people are asked to bring it there.
fn tank_is_ours(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) -> bool {
    let Some(id) = route::tank_ahead(cycle) else { return true };
    let (Some(tank), Some(plan)) = (turn.tanks.get_mut(id.index()), turn.plan.tanks.get(id.index())) else { return true };
    let held = tank.hold(at.id);
    if held && tank.ready {
        turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::BringBath);
        return true;
    }
    if held {
        let (low_c, high_c, name) = (in_celsius(plan.window_low), in_celsius(plan.window_high), &plan.name);
        turn.questions.ask(at.id, Purpose::BringBath, turn.now, turn.events, || {
            let text = format!(
                "Bring {name} to between {low_c:.0} and {high_c:.0} °C, covered and stirred: load {} in {} waits for it.",
                cycle.load.name, at.plan.name
            );
            Asked::to_do(Ask::BringBath { low_c, high_c }, text)
        });
    }
    false
}

pub(super) fn cool(cycle: &mut Cycle, at: &At<'_>, to: Temperature) -> bool {
    cycle.wanted_c = None;
    // A load that is out cools in air: the furnace cannot tell.
    cycle.out || at.facts.temperature.good().is_some_and(|read_c| read_c <= in_celsius(to))
}

pub(super) fn temper(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, temper: Temperature, hold: Duration) -> bool {
    let temper_c = in_celsius(temper);
    cycle.wanted_c = Some(temper_c);
    count_in_band(cycle, at, turn, temper_c, in_kelvins(at.plan.band));
    u128::from(cycle.in_band_ms) >= hold.as_millis()
}

/// Time counts only while the load is in its band by a reading that may be relied upon, and the door is not open.
fn count_in_band(cycle: &mut Cycle, at: &At<'_>, turn: &Turn<'_>, at_c: f64, band_k: f64) {
    if is_in_band(at, at_c, band_k) && matches!(at.facts.door, Door::Shut | Door::Absent) {
        // A reading speaks for no longer than it may grow old.
        let longest_ms = u64::try_from(at.plan.stale_after.as_millis()).unwrap_or(u64::MAX);
        cycle.in_band_ms += turn.dt_ms.min(longest_ms);
    }
}

fn is_in_band(at: &At<'_>, at_c: f64, band_k: f64) -> bool {
    let chamber = at.facts.temperature.good().is_some_and(|read_c| (read_c - at_c).abs() <= band_k);
    // A load thermometer that is wired speaks for the load.
    let load = at.plan.load_temperature.is_none() || (at.facts.load.or_nan() - at_c).abs() <= band_k;
    chamber && load
}
