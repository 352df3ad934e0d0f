//! A program that the controller runs by itself, checked against the recipe: what it asks for must be what the step wants.

use hearthward_equipment::quantity::{in_celsius, in_kelvins};

use super::{Cycle, highest_c};
use crate::facts::Facts;
use crate::plan::FurnacePlan;
use crate::recipe::{Drive, Load, Step};

/// What a person should know of a load that a program drives, where one does: what the service sees of it and what it does not.
pub(crate) fn words(load: &Load, plan: &FurnacePlan) -> Option<String> {
    let Drive::Program(number) = load.drive else { return None };
    let checked = match plan.set_point {
        Some(_) => "compares the set point that it reads with the recipe's, and alarms after a minute of another",
        None => "cannot read its set point, so that nothing else compares the program with the recipe",
    };
    Some(format!(
        "The controller of {} runs its own program {number}: look that it is the recipe's. The service cannot read which segment it is in: it follows the load by the temperature and the time in band, and {checked}.",
        plan.name
    ))
}

/// Whether the controller's set point, where it can be read back, is not the recipe's. What cannot be read does not agree.
pub(crate) fn is_off(cycle: &Cycle, plan: &FurnacePlan, facts: &Facts) -> bool {
    let checked = cycle.program().is_some() && cycle.is_running() && cycle.wanted_c.is_some() && plan.set_point.is_some();
    if !checked {
        return false;
    }
    let set_c = facts.set_point.or_nan();
    match cycle.step() {
        Some(Step::Soak { at, band, .. }) => !is_near(set_c, in_celsius(*at), in_kelvins(band.unwrap_or(plan.band))),
        Some(Step::Temper { at, .. }) => !is_near(set_c, in_celsius(*at), in_kelvins(plan.band)),
        // On its way it may be anywhere up to the hottest that the load still gets.
        Some(Step::Preheat { .. } | Step::Ramp { .. }) => !(set_c <= highest_c(cycle) + in_kelvins(plan.band)),
        _ => false,
    }
}

fn is_near(set_c: f64, wanted_c: f64, band_k: f64) -> bool {
    (set_c - wanted_c).abs() <= band_k
}
