//! Opening at heat: what follows when a hot chamber with protected steel in it was opened. Heat itself is the door's row; this one runs
//! the recovery purge and the exposure account, and alarms over the budget.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, Told};
use super::row::{Verdict, Why};
use crate::facts::Situation;
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::OpeningAtHeat,
    id: "opening_at_heat",
    title: "Opening at heat",
    does: "starts a recovery purge at the high flow at once, keeps an exposure account, and asks when it is over its budget",
    clears: "the probe or the estimate back under its limit, or the purge's volume changes delivered again",
    causes: For::Steel,
};

pub(super) fn verdict(plan: &FurnacePlan, now: &Situation) -> Verdict {
    // The opening of a pull is the cycle's own: its recovery runs, and nobody is alarmed.
    let cause = plan.gas.is_some() && now.load_in && now.gas_load && now.recovering && !now.opening_expected;
    Verdict::alarm(cause).because(if now.exposed { Why::Other } else { Why::Main })
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let what = if told.situation.seen_open { "was opened at heat" } else { "may have been open at heat while nobody watched" };
    let _ = write!(into, "{name} {what}: the recovery purge runs until its atmosphere is back under its limit.");
    if told.situation.exposed {
        let _ = write!(into, " Its steel has seen more oxygen at heat than its budget: decide what becomes of it.");
    }
}
