//! Gas supply: the forecast does not reach the end of the load with its reserve. A cause for the steel.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, Told};
use super::row::Verdict;
use crate::facts::Situation;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::GasSupply,
    id: "gas_supply",
    title: "Gas supply",
    does: "warns at the start and alarms while running when the gas will not reach the end with its reserve",
    clears: "more gas, or a person's word",
    causes: For::Steel,
};

pub(super) fn verdict(now: &Situation) -> Verdict {
    Verdict::alarm(now.running && now.gas_load && now.gas_short)
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let _ = write!(into, "The gas for {name} may not reach the end of its load with the reserve: have another cylinder ready.");
}
