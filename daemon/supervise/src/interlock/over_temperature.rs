//! Over-temperature: above the furnace's own limit, or the controller's alarm. Heat is cut and latched.

use std::fmt::Write as _;

use hearthward_equipment::quantity::in_celsius;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::{Verdict, Why};
use crate::facts::Facts;
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::OverTemperature,
    id: "over_temperature",
    title: "Over-temperature",
    does: "cuts heat above the furnace's own limit or on the controller's own alarm, latched",
    clears: "below the limit, the controller's alarm gone, and a reset",
    causes: For::People,
};

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts) -> Verdict {
    let above = is_above(facts, in_celsius(plan.limit));
    let alarm = facts.alarm_seen || facts.alarm.good().is_some_and(|alarm| alarm > 0.5);
    Verdict::latched(above || alarm).because(if above { Why::Main } else { Why::Other })
}

/// The expression. A reading that is missing is the sensor's and the driver's row; a limit that is not a number trips here.
fn is_above(facts: &Facts, limit_c: f64) -> bool {
    let read_c = facts.temperature.good().unwrap_or(f64::NEG_INFINITY).max(facts.peak_c);
    !(read_c <= limit_c)
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let limit_c = in_celsius(told.plan.limit);
    let _ = match (told.row.why(), told.row.cause()) {
        (Why::Main, true) => write!(into, "{no_heat}: it is above its limit of {limit_c:.0} °C. Let it cool."),
        (Why::Main, false) => write!(into, "{no_heat}: it was above its limit of {limit_c:.0} °C."),
        (_, true) => write!(into, "{no_heat}: its controller gives an over-temperature alarm. Look at it."),
        (_, false) => write!(into, "{no_heat}: its controller gave an over-temperature alarm."),
    };
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::points::Sample;

    #[test]
    fn the_limit_itself_is_permitted_and_anything_above_or_not_a_number_trips() {
        let table = [
            (Sample::Good(1059.9), f64::NEG_INFINITY, 1060.0, false),
            (Sample::Good(1060.0), f64::NEG_INFINITY, 1060.0, false),
            (Sample::Good(1060.1), f64::NEG_INFINITY, 1060.0, true),
            (Sample::Good(900.0), 1060.1, 1060.0, true),
            (Sample::Good(900.0), 1060.0, 1060.0, false),
            (Sample::Stale, f64::NEG_INFINITY, 1060.0, false),
            (Sample::Bad, 1061.0, 1060.0, true),
            (Sample::Good(20.0), f64::NEG_INFINITY, f64::NAN, true),
        ];
        for (temperature, peak_c, limit_c, trips) in table {
            let facts = Facts { temperature, peak_c, ..Facts::nothing() };
            assert_eq!(is_above(&facts, limit_c), trips, "{temperature:?} {peak_c} {limit_c}");
        }
    }
}
