//! The bath of a sequence of pulls: how warm it may be at the first so that it is still in its window after the last.

use hearthward_equipment::quantity::{celsius, in_celsius, in_kelvins};
use hearthward_process::quench::{Bath, Hot};
use uom::si::f64::{Mass, Volume};

use super::Cycle;
use crate::plan::TankPlan;
use crate::recipe::{Load, Step};

/// The warmest that the bath may be before the first part, in °C, so that it ends within its window after the last: the parts are
/// taken to enter at soak heat, and the bath to lose nothing between them.
///
/// Nothing without a part's mass to work it out from.
///
/// # Errors
/// A sentence, where even the coldest bath of the window would be too warm after the last part.
pub(crate) fn warmest_c(load: &Load, tank: &TankPlan) -> Result<Option<f64>, String> {
    let Some(hot) = hot(load) else { return Ok(None) };
    let top_c = in_celsius(tank.window_high).min(flash_limit_c(tank));
    let Ok(bath) = bath(tank, top_c) else { return Ok(None) };
    let parts = u32::from(load.parts.max(1));
    let Ok(start) = bath.start_for(&hot, parts, celsius(top_c)) else { return Ok(None) };
    match start.map(in_celsius) {
        Some(start_c) if start_c >= in_celsius(tank.window_low) => Ok(Some(start_c)),
        _ => Err(format!(
            "{parts} parts of load {} would warm {} past {top_c:.0} °C even from the lower end of its window: quench fewer at a time.",
            load.name, tank.name
        )),
    }
}

/// Where the bath is expected to be after the last part, in °C.
pub(super) fn ends_at_c(cycle: &Cycle, tank: &TankPlan, now_c: f64) -> Option<f64> {
    let hot = hot(&cycle.load)?;
    let parts = u32::from(cycle.load.parts.max(1).saturating_sub(cycle.parts_under));
    bath(tank, now_c).ok()?.after_each(&hot, parts).ok()?.last().copied().map(in_celsius)
}

/// How long a bath takes to where it is warmed to, in milliseconds: from its volume and its heater, with an allowance for its shell and
/// its losses. From a room's temperature where it cannot be read, and a usual time where no heater is given.
pub(super) fn warms_in_ms(tank: &TankPlan, now_c: Option<f64>, warmest_c: Option<f64>) -> u64 {
    let to_c = crate::tanks::warm_to_c(tank, warmest_c);
    let time = |heater| {
        let bath = bath(tank, now_c.unwrap_or(ROOM_C)).ok()?;
        bath.time_to(celsius(to_c), heater, Mass::default()).ok()?
    };
    let needed_s = tank.heater.and_then(time).map_or(USUAL_S, |time| time.value * LOSSES);
    libm::ceil((needed_s + SLACK_S) * 1000.0) as u64
}

/// A bath comes from the room (assumed).
const ROOM_C: f64 = 21.0;
/// Taken to warm a bath whose heater is not known (common practice, no source).
const USUAL_S: f64 = 2.0 * 3600.0;
/// What the steel of the tank and its losses add (assumed, no source).
const LOSSES: f64 = 1.3;
/// A bath that is ready a little early waits; one that is late lets steel wait at heat (assumed, no source).
const SLACK_S: f64 = 600.0;

/// One part as it enters, at the heat of the last soak before the quench.
fn hot(load: &Load) -> Option<Hot> {
    let mass = load.part?.mass?;
    let quench = load.steps.iter().position(|step| matches!(step, Step::Quench { .. }))?;
    let soaked = load.steps.iter().take(quench).rev().find_map(|step| match step {
        Step::Soak { at, .. } => Some(*at),
        Step::Ramp { to, .. } | Step::Preheat { to, .. } => Some(*to),
        _ => None,
    })?;
    Some(Hot { mass, soaked, entering: soaked })
}

/// What has a flash point is oil, what has none is water.
fn bath(tank: &TankPlan, at_c: f64) -> Result<Bath, hearthward_process::ProcessError> {
    let liquid: fn(Volume, _) -> _ = if tank.flash_point.is_some() { Bath::oil } else { Bath::water };
    liquid(tank.volume, celsius(at_c))
}

/// Where the margin to the flash point begins, in °C.
pub(crate) fn flash_limit_c(tank: &TankPlan) -> f64 {
    tank.flash_point.map_or(f64::INFINITY, in_celsius) - in_kelvins(tank.flash_margin)
}
