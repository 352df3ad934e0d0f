//! The steps that heat or let cool: preheat, ramp, soak, cool, temper. Each says whether it is complete.

use std::time::Duration;

use hearthward_equipment::quantity::{Temperature, TemperatureStep, in_celsius, in_kelvins};

use super::{At, Cycle, Turn, ask_about_steel, route, steel};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::interlock::InterlockKind;
use crate::questions::{Asked, Purpose};
use crate::recipe::{Pace, Step};
use crate::request::Ask;

/// How far a moving set point may run ahead of the furnace, in bands: beyond it the ramp waits for the load.
const AHEAD_BANDS: f64 = 3.0;
/// A ramp in less time than this is one at full power.
const SHORTEST_RAMP_S: f64 = 1.0;

/// A soak's numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct SoakStep {
    pub(super) at: Temperature,
    pub(super) band: Option<TemperatureStep>,
    pub(super) minimum: Duration,
    pub(super) maximum: Duration,
}

/// A step begins that is to come into a band: works out how long the core of the load lags behind its mean.
pub(super) fn begin_band(cycle: &mut Cycle, at: &At<'_>, heat: Temperature, band: Option<TemperatureStep>) {
    cycle.core_lag_ms = steel::core_lag_ms(cycle, in_celsius(heat), in_kelvins(band.unwrap_or(at.plan.band)));
}

/// A ramp begins where the furnace is; one that has a time becomes a rate from there.
pub(super) fn begin_ramp(cycle: &mut Cycle, at: &At<'_>, to: Temperature, pace: Pace) {
    let from_c = at.read_c();
    cycle.wanted_c = from_c;
    cycle.ramp_k_per_s = match pace {
        Pace::Full => None,
        Pace::Rate(k_per_h) => Some(k_per_h / 3600.0),
        // Without a reading the way is not known yet: it stands until the ramp is begun anew with one.
        Pace::Over(span) => {
            Some(from_c.map_or(0.0, |from_c| (in_celsius(to) - from_c).abs() / span.as_secs_f64().max(SHORTEST_RAMP_S)))
        }
    };
}

pub(super) fn preheat(cycle: &mut Cycle, at: &At<'_>, turn: &Turn<'_>, to: Temperature, hold: Duration) -> bool {
    let (to_c, band_k) = (in_celsius(to), in_kelvins(at.plan.band));
    cycle.wanted_c = Some(to_c);
    count_in_band(cycle, at, turn, to_c, band_k);
    u128::from(cycle.in_band_ms) >= hold.as_millis() && is_in_band(cycle, at, to_c, band_k)
}

pub(super) fn ramp(cycle: &mut Cycle, at: &At<'_>, to: Temperature) -> bool {
    let (to_c, band_k) = (in_celsius(to), in_kelvins(at.plan.band));
    let read_c = at.read_c();
    let unknown = cycle.ramp_k_per_s.is_some_and(|pace| !(pace > 0.0));
    // One that began at something that was never there would heat past all that its load is to see: it begins anew where the furnace is.
    let hottest_c = route::hottest_so_far_c(cycle);
    let beside = |(wanted_c, read_c): (f64, f64)| wanted_c > hottest_c.max(read_c) + AHEAD_BANDS * band_k;
    let beside = cycle.wanted_c.zip(read_c).is_some_and(beside);
    if beside || (unknown && read_c.is_some()) {
        let pace = match cycle.step() {
            Some(Step::Ramp { pace, .. }) => *pace,
            _ => Pace::Full,
        };
        begin_ramp(cycle, at, to, pace);
    }
    cycle.wanted_c = match (cycle.ramp_k_per_s, cycle.wanted_c.or(read_c)) {
        (Some(pace), Some(from_c)) => {
            let ahead_k = read_c.map_or(f64::INFINITY, |read_c| (from_c - read_c).abs());
            let moves = !cycle.held && at.rows.withholding().next().is_none() && ahead_k <= AHEAD_BANDS * band_k;
            let step_k = if moves { pace * at.facts.dt_s } else { 0.0 };
            Some(if to_c >= from_c { (from_c + step_k).min(to_c) } else { (from_c - step_k).max(to_c) })
        }
        (Some(_), None) => None,
        (None, _) => Some(to_c),
    };
    let load = at.plan.load_temperature.is_none() || at.facts.load.or_nan() >= to_c - band_k;
    read_c.is_some_and(|read_c| (read_c - to_c).abs() <= band_k) && load
}

pub(super) fn soak(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, step: SoakStep) -> bool {
    let soak_c = in_celsius(step.at);
    let band_k = in_kelvins(step.band.unwrap_or(at.plan.band));
    cycle.wanted_c = Some(soak_c);
    let before_ms = cycle.in_band_ms;
    count_in_band(cycle, at, turn, soak_c, band_k);
    if u128::from(cycle.in_band_ms) < step.minimum.as_millis() {
        // A soak that was begun again may hold the tank from before.
        step_aside(cycle, at, turn);
        return false;
    }
    let next_pulls = matches!(cycle.load.steps.get(usize::from(cycle.index) + 1), Some(Step::Pull { .. }));
    let over = u128::from(cycle.in_band_ms) >= step.maximum.as_millis();
    if cycle.held {
        step_aside(cycle, at, turn);
        if over && u128::from(before_ms) < step.maximum.as_millis() {
            let (load, name) = (&cycle.load.name, &at.plan.name);
            let text = format!("The soak of load {load} in {name} is at its maximum and a person holds it: resume it or end it.");
            turn.say(at.id, Priority::Warning, text, EventBody::Noted);
        }
        return false;
    }
    if !next_pulls {
        return true;
    }
    // Steel that has fallen out of its band since is not called: it waits for its heat.
    let in_band = is_in_band(cycle, at, soak_c, band_k);
    if !in_band {
        step_aside(cycle, at, turn);
    } else if tank_is_ours(cycle, at, turn) {
        return true;
    }
    if over && !cycle.extended {
        cycle.extended = true;
        let what = if in_band { "the tank is not ready" } else { "it is not at its heat" };
        let because = format!("The soak of load {} in {} is at its maximum and {what}.", cycle.load.name, at.plan.name);
        ask_about_steel(cycle, at, turn, InterlockKind::QuenchReadiness, because);
    }
    false
}

/// The call to pull: the tank is held for this load and ready for its whole sequence. Otherwise people are asked to bring it there.
pub(super) fn tank_is_ours(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) -> bool {
    let Some(id) = route::tank_ahead(cycle) else { return true };
    let (Some(tank), Some(plan)) = (turn.tanks.get_mut(id.index()), turn.plan.tanks.get(id.index())) else { return true };
    let held = tank.hold(at.id);
    let bypassed = at.rows.row(InterlockKind::QuenchReadiness).is_bypassed() && !tank.latched;
    if held && (tank.is_ready_for(cycle.bath_warmest_c) || bypassed) {
        turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::BringBath);
        return true;
    }
    if held {
        let (low_c, high_c, name) = (in_celsius(plan.window_low), in_celsius(plan.window_high), &plan.name);
        let high_c = cycle.bath_warmest_c.map_or(high_c, |warmest_c| warmest_c.min(high_c));
        let (by_hand, directory) = (tank.by_hand, &turn.plan.directory);
        turn.questions.ask(at.id, Purpose::BringBath, turn.now, turn.events, || {
            let address = directory.point_address(plan.temperature).filter(|_| by_hand);
            let enter = address.map(|at| format!(", and enter its temperature at {at}")).unwrap_or_default();
            let text = format!(
                "Bring {name} to between {low_c:.0} and {high_c:.0} °C, covered and stirred{enter}: load {} in {} waits for it.",
                cycle.load.name, at.plan.name
            );
            Asked::to_do(Ask::BringBath { low_c, high_c }, text)
        });
    }
    false
}

/// A load that waits for a person or for its heat keeps the tank from nobody, until its first part is under.
pub(super) fn step_aside(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let Some(tank) = route::tank_ahead(cycle).and_then(|id| turn.tanks.get_mut(id.index())) else { return };
    let under_way = cycle.pulls() && cycle.parts_under > 0;
    if under_way { tank.step_aside(at.id) } else { tank.release(at.id) }
}

/// Cooling in the chamber is read; outside it a person says when the load is cool.
pub(super) fn cool(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, to: Temperature, in_air: bool) -> bool {
    cycle.wanted_c = None;
    let to_c = in_celsius(to);
    if !cycle.out && !in_air {
        return at.read_c().is_some_and(|read_c| read_c <= to_c);
    }
    if !cycle.cooled {
        let (load, name) = (&cycle.load.name, &at.plan.name);
        let first = if cycle.out { "Let".to_owned() } else { format!("Take load {load} out of {name}, it is hot; let") };
        turn.questions.ask(at.id, Purpose::LetCool, turn.now, turn.events, || {
            let text = format!("{first} load {load} cool to {to_c:.0} °C, and say when it has.");
            Asked::to_do(Ask::LetCool { to_c }, text)
        });
    }
    cycle.cooled
}

/// The load is out and cool, a person says.
pub(crate) fn cooled(cycle: &mut Cycle) {
    (cycle.cooled, cycle.out) = (true, true);
}

pub(super) fn temper(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, temper: Temperature, hold: Duration) -> bool {
    let temper_c = in_celsius(temper);
    cycle.wanted_c = Some(temper_c);
    count_in_band(cycle, at, turn, temper_c, in_kelvins(at.plan.band));
    u128::from(cycle.in_band_ms) >= hold.as_millis()
}

/// Time counts only while the load is in its band by a reading that may be relied upon, and the door is not open.
fn count_in_band(cycle: &mut Cycle, at: &At<'_>, turn: &Turn<'_>, at_c: f64, band_k: f64) {
    if !matches!(at.facts.door, Door::Shut | Door::Absent) {
        return;
    }
    // A reading speaks for no longer than it may grow old.
    let longest_ms = u64::try_from(at.plan.stale_after.as_millis()).unwrap_or(u64::MAX);
    let passed_ms = turn.dt_ms.min(longest_ms);
    if is_in_band(cycle, at, at_c, band_k) {
        cycle.in_band_ms += passed_ms;
    } else if cycle.steel_c.is_some_and(|steel_c| (steel_c - at_c).abs() <= band_k) {
        cycle.core_lag_ms = cycle.core_lag_ms.saturating_sub(passed_ms);
    }
}

fn is_in_band(cycle: &Cycle, at: &At<'_>, at_c: f64, band_k: f64) -> bool {
    let chamber = at.read_c().is_some_and(|read_c| (read_c - at_c).abs() <= band_k);
    chamber && steel::is_in_band(cycle, at, at_c, band_k)
}
