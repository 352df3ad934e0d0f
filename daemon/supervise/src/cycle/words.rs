//! Words for steps and spans, and what a cycle waits for.

use std::fmt::Write as _;

use hearthward_equipment::quantity::in_celsius;

use super::{At, Cycle, NextPart, Stage, pull};
use crate::interlock::InterlockKind;
use crate::purge::PurgePhase;
use crate::recipe::{Step, StepKind};

/// A step's name in a sentence.
pub(crate) fn step(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Purge => "purge",
        StepKind::Preheat => "preheat",
        StepKind::Ramp => "ramp",
        StepKind::Soak => "soak",
        StepKind::Pull => "pull",
        StepKind::Quench => "quench",
        StepKind::Cool => "cooling",
        StepKind::Temper => "temper",
    }
}

/// A span as people say it.
pub(crate) fn span(span_ms: u64) -> String {
    let seconds = span_ms / 1000;
    match seconds {
        0..=119 => format!("{seconds} s"),
        120..=7199 => format!("{} min", seconds / 60),
        _ => format!("{} h {} min", seconds / 3600, seconds / 60 % 60),
    }
}

/// Writes what the cycle waits for.
pub(crate) fn waiting_for(cycle: &Cycle, at: &At<'_>, next: &NextPart<'_>, into: &mut String) {
    let name = &at.plan.name;
    let load = &cycle.load.name;
    let _ = match cycle.stage {
        _ if cycle.interrupted => write!(into, "a person to say whether load {load} in {name} goes on"),
        Stage::Loading if cycle.ready_ms.is_some() => {
            let left = span(cycle.ready_ms.unwrap_or(0));
            write!(into, "load {load} to be put into {name} and the door to be shut; it shall be ready in {left}")
        }
        Stage::Loading => write!(into, "load {load} to be put into {name} and the door to be shut"),
        Stage::Waiting => {
            let left = span(cycle.ready_ms.unwrap_or(0));
            write!(into, "its time: load {load} in {name} shall be ready in {left}")
        }
        Stage::Transferring => write!(into, "load {load} to be put into the furnace that tempers it"),
        Stage::Ending => write!(into, "{name} and its load to cool"),
        Stage::Running if cycle.held => write!(into, "a person to resume {name}"),
        Stage::Running => running(cycle, at, next, into),
    };
}

fn running(cycle: &Cycle, at: &At<'_>, next: &NextPart<'_>, into: &mut String) -> std::fmt::Result {
    let name = &at.plan.name;
    let read_c = at.last_c.unwrap_or(f64::NAN);
    match cycle.step() {
        Some(Step::Purge) => match at.purge.phase {
            PurgePhase::Idle | PurgePhase::Settling if at.rows.stands(InterlockKind::SharedSupply) => {
                write!(into, "{name}'s turn at the gas manifold")
            }
            PurgePhase::Idle | PurgePhase::Settling => write!(into, "the purge flow of {name} to be proved"),
            PurgePhase::Confirming => write!(into, "a person to say what the meter of {name} shows"),
            _ => write!(
                into,
                "{:.1} volume changes in {name}, {:.1} so far",
                at.plan.gas.as_ref().map_or(0.0, |gas| gas.purge.changes),
                at.purge.changes
            ),
        },
        Some(Step::Preheat { to, .. } | Step::Ramp { to, .. }) => {
            write!(into, "{name} to reach {:.0} °C, now {read_c:.0} °C", in_celsius(*to))
        }
        Some(Step::Soak { at: heat, .. } | Step::Temper { at: heat, .. }) => {
            let heat_c = in_celsius(*heat);
            match super::load_c(cycle, at) {
                Some(load_c) => write!(into, "time in band at {heat_c:.0} °C, now {read_c:.0} °C, the load near {load_c:.0} °C"),
                None => write!(into, "time in band at {heat_c:.0} °C, now {read_c:.0} °C"),
            }
        }
        Some(Step::Pull { .. }) => pull::waits_for(cycle, at, next, into),
        Some(Step::Quench { .. }) => write!(into, "the parts' time in what quenches them"),
        Some(Step::Cool { to, in_air }) if *in_air || cycle.out => {
            write!(into, "a person to say that load {} is at {:.0} °C or below", cycle.load.name, in_celsius(*to))
        }
        Some(Step::Cool { to, .. }) => write!(into, "{name} to cool to {:.0} °C, now {read_c:.0} °C", in_celsius(*to)),
        None => Ok(()),
    }
}
