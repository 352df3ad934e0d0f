//! A program that the controller runs by itself, checked against the recipe: what it asks for must be what the step wants.

use hearthward_equipment::quantity::{in_celsius, in_kelvins};

use super::{Cycle, highest_c};
use crate::facts::Facts;
use crate::plan::FurnacePlan;
use crate::recipe::Step;

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
