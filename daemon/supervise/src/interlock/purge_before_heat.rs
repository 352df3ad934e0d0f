//! Purge before heat: for a load that gas shall protect and that starts cold, no heat above the ceiling until the purge is proved.
//!
//! It lowers the ceiling and leaves heat below it alone, so it does not withhold.

use std::fmt::Write as _;

use hearthward_equipment::quantity::in_celsius;

use super::catalogue::{Entry, For, Told};
use super::row::Verdict;
use crate::facts::Situation;
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::PurgeBeforeHeat,
    id: "purge_before_heat",
    title: "Purge before heat",
    does: "holds heat at or below the temperature at which steel does not scale until the purge is proved for the load",
    clears: "the purge being proved for this load",
    causes: For::Turn,
};

pub(super) fn verdict(plan: &FurnacePlan, now: &Situation) -> Verdict {
    Verdict::alarm(plan.gas.is_some() && now.load_in && now.gas_load && !now.charged_hot && !now.proved)
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let ceiling_c = told.plan.gas.as_ref().map_or(f64::NAN, |gas| in_celsius(gas.purge.unpurged_ceiling));
    let name = &told.plan.name;
    let _ = write!(into, "{name} may not heat above {ceiling_c:.0} °C until the purge is proved for this load.");
    if told.facts.flow_beyond {
        let _ = write!(
            into,
            " Its meter shows more gas than its supply can give, which proves nothing: look at the meter and at `capacity`."
        );
    }
}
