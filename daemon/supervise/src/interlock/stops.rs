//! The rows that no reading trips: a person's stop, an interruption, the service's own end.

use std::fmt::Write as _;

use super::InterlockKind;
use super::catalogue::{Entry, For, NoHeat, Told};
use super::row::{Verdict, Why};
use crate::facts::Situation;

pub(super) const STOP: Entry = Entry {
    kind: InterlockKind::Stop,
    id: "stop",
    title: "Stop",
    does: "cuts everything that heats, latched",
    clears: "a reset",
    causes: For::People,
};

pub(super) const INTERRUPTED: Entry = Entry {
    kind: InterlockKind::Interrupted,
    id: "interrupted",
    title: "Interrupted",
    does: "withholds heat after a long or doubtful gap, or after a reset, until a person says that the load goes on, latched",
    clears: "a person's answer to what shall become of the load",
    causes: For::People,
};

pub(super) const ENDING: Entry = Entry {
    kind: InterlockKind::Ending,
    id: "ending",
    title: "Ending",
    does: "cuts heat because the service is ending in order; gas stays as it is",
    clears: "the next start of the service",
    causes: For::People,
};

pub(super) fn interrupted(now: &Situation) -> Verdict {
    // A gap that may still be ridden through withholds heat and owes nothing.
    Verdict { latch: now.interrupted, ..Verdict::off(now.interrupted || now.in_gap) }
}

pub(super) fn ending(now: &Situation) -> Verdict {
    Verdict::off(now.ending)
}

pub(super) fn say(kind: InterlockKind, told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    // A reset interrupts a load too, and then nobody was away.
    let in_gap = told.situation.in_gap && !told.situation.interrupted;
    let _ = match kind {
        InterlockKind::Stop if told.row.why() == Why::Other => {
            write!(
                into,
                "{no_heat}: what stood before this start cannot be read, so nobody knows what was latched. Look at it first."
            )
        }
        InterlockKind::Stop => write!(into, "{no_heat}: a person stopped it."),
        InterlockKind::Interrupted if in_gap && told.situation.gap_rides => {
            write!(into, "{no_heat}: the service was away. Its load goes on by itself once what is read now agrees.")
        }
        InterlockKind::Interrupted if in_gap => {
            write!(
                into,
                "{no_heat}: the service was away for too long. Once it is read, a person is asked whether its load goes on."
            )
        }
        InterlockKind::Interrupted => {
            write!(
                into,
                "{no_heat}: its load was interrupted, and nobody has said that it goes on. Answer the question about it."
            )
        }
        _ => write!(into, "{no_heat}: the service is ending. Gas stays as it is; watch a hot load by hand."),
    };
    if kind == InterlockKind::Stop && told.row.is_latched() {
        // No reading shows that what it was pressed for is over.
        into.push_str(" It is latched: reset it when it is safe to heat again.");
    }
}
