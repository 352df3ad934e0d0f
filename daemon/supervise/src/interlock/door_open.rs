//! Door open, or a door switch that cannot be relied upon: heat is cut.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::{Verdict, Why};
use crate::facts::{Door, DoorTold, Facts, Situation};
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::DoorOpen,
    id: "door_open",
    title: "Door open",
    does: "cuts heat while the door is open or its switch cannot be read",
    clears: "the door shut; by itself if the step expected the opening or it was short, else by a reset",
    causes: For::People,
};

/// How long it has been open.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Memory {
    open_s: f64,
    /// How long the last opening or gap was.
    pub(crate) gap_s: f64,
}

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    let cause = is_cause(facts.door);
    if cause {
        memory.open_s += facts.dt_s;
    } else if memory.open_s > 0.0 {
        (memory.gap_s, memory.open_s) = (memory.open_s, 0.0);
    }
    // With no cycle nobody heats, and whoever opens is about to load or to unload.
    let expected = now.opening_expected || !now.running;
    let short_s = plan.short_opening.as_secs_f64();
    // A switch that cannot be read is a driver's gap, and is ridden through like one.
    let (short_s, why) = match facts.door {
        Door::Unknown => (short_s.max(now.ride_through_s), Why::Other),
        _ => (short_s, Why::Main),
    };
    let long = !(memory.open_s <= short_s);
    Verdict { cause, latch: cause && long && !expected, off: true, why }
}

/// The expression: open or unknown.
fn is_cause(door: Door) -> bool {
    match door {
        Door::Open | Door::Unknown => true,
        Door::Shut | Door::Absent => false,
    }
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let _ = match (told.row.cause(), told.facts.door) {
        (true, Door::Unknown) if told.facts.door_told == DoorTold::Nobody => {
            write!(into, "{no_heat}: its door has not been read yet.")
        }
        (true, Door::Unknown) if told.facts.door_told == DoorTold::Person => {
            write!(into, "{no_heat}: nobody has said lately whether its door is shut. Look, and enter it.")
        }
        (true, Door::Unknown) => {
            write!(into, "{no_heat}: its door switch cannot be read. Look at the switch and its driver.")
        }
        (true, _) => write!(into, "{no_heat}: its door is open. Shut it."),
        (false, _) => write!(into, "{no_heat}: its door was open for long and no step expected it."),
    };
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn open_and_unknown_cut_and_nothing_else_does() {
        let table = [(Door::Absent, false), (Door::Shut, false), (Door::Open, true), (Door::Unknown, true)];
        for (door, cause) in table {
            assert_eq!(is_cause(door), cause, "{door:?}");
        }
    }
}
