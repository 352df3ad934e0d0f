//! Purge flow: the gas that protects hot steel is not proved to flow. A cause for the steel: alarm and ask.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;

use super::catalogue::{Entry, For, Told};
use super::row::{Verdict, Why};
use crate::facts::{Facts, Situation};
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::PurgeFlow,
    id: "purge_flow",
    title: "Purge flow",
    does: "alarms and asks when the gas that protects the steel is not proved to flow; heat is left alone",
    clears: "the flow proved again",
    causes: For::Steel,
};

/// How long the flow has been missing.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Memory {
    missing_s: f64,
}

/// A flow below this share of what was asked for is lost (common practice, no source).
pub(crate) const LEAST_SHARE: f64 = 0.8;
/// How long it must be missing: a meter settles after a change of flow.
const DELAY_S: f64 = 10.0;

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    let Some(gas) = &plan.gas else { return Verdict::CLEAR };
    let protects = now.running && now.load_in && now.gas_load && (now.proved || now.hot);
    let lost = protects && is_lost(now.flow, now.asked_flow, gas.resolution.get::<katal>());
    memory.missing_s = if lost { memory.missing_s + facts.dt_s } else { 0.0 };
    Verdict::alarm(memory.missing_s > DELAY_S).because(if now.flow.is_nan() { Why::Other } else { Why::Main })
}

/// The expression. A flow that the meter cannot resolve is not a lost flow; one that cannot be read at all is.
pub(crate) fn is_lost(flow: f64, asked: f64, resolution: f64) -> bool {
    let least = LEAST_SHARE * asked;
    if least < resolution && flow >= 0.0 {
        return false;
    }
    !(flow >= least)
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let _ = match told.row.why() {
        Why::Other if told.facts.flow_beyond => write!(
            into,
            "The meter of {name} shows more gas than its supply can give, which proves nothing: look at the meter and at `capacity`, and \
             whether gas flows over the hot steel."
        ),
        Why::Other => write!(into, "The gas flow to {name} cannot be read: look whether gas flows over the hot steel."),
        _ => write!(into, "The gas flow to {name} is lost: open the valve, look at the cylinder and the hose."),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_meter_cannot_resolve_is_not_lost() {
        let table = [
            (1.0, 1.0, 0.1, false),
            (0.8, 1.0, 0.1, false),
            (0.79, 1.0, 0.1, true),
            (0.0, 1.0, 0.1, true),
            (0.0, 0.1, 0.1, false),
            (f64::NAN, 1.0, 0.1, true),
            (f64::NAN, 0.1, 0.1, true),
            (1.0, f64::NAN, 0.1, true),
        ];
        for (flow, asked, resolution, lost) in table {
            assert_eq!(is_lost(flow, asked, resolution), lost, "{flow} of {asked}, resolution {resolution}");
        }
    }
}
