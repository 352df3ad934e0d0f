//! Off its set point: an alarm while the set point stands still. It arms when the furnace has once come into its band, so that a step
//! from soak down to temper, or a door opened to look, raises nothing.

use std::fmt::Write as _;

use hearthward_equipment::quantity::in_kelvins;

use super::catalogue::{Entry, For, Told};
use super::row::{Verdict, Why};
use crate::facts::{Facts, Situation};
use crate::plan::FurnacePlan;
use serde::{Deserialize, Serialize};

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::OffSetPoint,
    id: "off_set_point",
    title: "Off its set point",
    does: "alarms when a furnace that has reached its set point leaves twice its band, or a program asks for another one; heat is left alone",
    clears: "back in twice its band; it arms again after a change of set point once the band is reached",
    causes: For::Steel,
};

/// Whether it is armed, and for how long the furnace is off.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Memory {
    armed_at_c: Option<f64>,
    off_s: f64,
    /// For how long the controller's program has asked for something else than the recipe.
    program_s: f64,
}

/// How many bands away it alarms: overshoot and the swing of an on-off controller stay inside (common practice, no source).
const BANDS: f64 = 2.0;
/// How long it must be away: a door opened to look is over by then.
const DELAY_S: f64 = 60.0;

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    memory.program_s = if now.program_off { memory.program_s + facts.dt_s } else { 0.0 };
    let away = stays_away(plan, facts, now, memory);
    let program = memory.program_s > DELAY_S;
    Verdict::alarm(away || program).because(if program { Why::Other } else { Why::Main })
}

fn stays_away(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> bool {
    let band_k = in_kelvins(plan.band);
    let (Some(wanted_c), true) = (now.wanted_c, now.steady && now.heating && !now.recovering) else {
        (memory.armed_at_c, memory.off_s) = (None, 0.0);
        return false;
    };
    let away_k = (facts.temperature.or_nan() - wanted_c).abs();
    if memory.armed_at_c != Some(wanted_c) {
        (memory.armed_at_c, memory.off_s) = ((away_k <= band_k).then_some(wanted_c), 0.0);
        return false;
    }
    memory.off_s = if is_off(away_k, band_k) { memory.off_s + facts.dt_s } else { 0.0 };
    memory.off_s > DELAY_S
}

/// The expression; a reading that is missing counts as away.
fn is_off(away_k: f64, band_k: f64) -> bool {
    !(away_k <= BANDS * band_k)
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let (name, wanted_c) = (&told.plan.name, told.situation.wanted_c.unwrap_or(f64::NAN));
    let _ = match told.facts.temperature.good() {
        _ if told.row.why() == Why::Other => match told.facts.set_point.good() {
            Some(set_c) => write!(
                into,
                "{name}: the controller's program asks for {set_c:.0} °C, which is not the recipe's: look whether it is the right one."
            ),
            None => {
                write!(into, "{name}: the set point of its program cannot be read, so that it is not checked against the recipe.")
            }
        },
        Some(read_c) => {
            let above = read_c > wanted_c;
            let look = if above { "see what heats it, its contactor or its controller" } else { "look at its elements and door" };
            write!(into, "{name} is at {read_c:.0} °C and should be at {wanted_c:.0} °C: {look}.")
        }
        None => write!(into, "{name} should be at {wanted_c:.0} °C and cannot be read."),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_of_the_band_is_inside_and_what_is_not_a_number_is_off() {
        for (away_k, off) in [(0.0, false), (10.0, false), (10.1, true), (f64::NAN, true)] {
            assert_eq!(is_off(away_k, 5.0), off, "{away_k}");
        }
    }
}
