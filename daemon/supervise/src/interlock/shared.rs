//! The two rows about what furnaces share: gas from one manifold, and electrical power.

use std::fmt::Write as _;

use super::InterlockKind;
use super::catalogue::{Entry, For, Told};
use super::row::Verdict;
use crate::facts::Situation;

pub(super) const SUPPLY: Entry = Entry {
    kind: InterlockKind::SharedSupply,
    id: "shared_supply",
    title: "Shared supply",
    does: "lets a purge that would take the manifold past its capacity wait its turn",
    clears: "capacity freed",
    causes: For::Turn,
};

pub(super) const ELECTRICAL: Entry = Entry {
    kind: InterlockKind::SharedElectrical,
    id: "shared_electrical",
    title: "Shared electrical supply",
    does: "lets a furnace that would take the demand past its limit wait its turn; one that soaks keeps its own",
    clears: "demand freed",
    causes: For::Turn,
};

pub(super) fn supply(now: &Situation) -> Verdict {
    Verdict::alarm(now.waits_for_supply)
}

pub(super) fn electrical(now: &Situation) -> Verdict {
    Verdict::off(now.waits_for_power)
}

pub(super) fn say(kind: InterlockKind, told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let _ = match kind {
        InterlockKind::SharedSupply => {
            write!(into, "{name} waits its turn at the gas manifold: other furnaces take what it can give.")
        }
        _ => write!(into, "{name} waits its turn to heat: other furnaces take what the electrical supply can give."),
    };
}
