//! Run-time limit: a furnace that heats for long without a sign of life from a person. Heat is cut and latched.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::Verdict;
use crate::facts::Situation;
use crate::plan::FurnacePlan;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::RunTimeLimit,
    id: "run_time_limit",
    title: "Run-time limit",
    does: "cuts heat on a furnace that heats longer than its limit without a sign of life from a person, latched",
    clears: "a reset",
    causes: For::People,
};

pub(super) fn verdict(plan: &FurnacePlan, now: &Situation) -> Verdict {
    let limit_s = plan.run_time_limit.map_or(f64::INFINITY, |limit| limit.as_secs_f64());
    Verdict::latched(!(now.alone_s <= limit_s))
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let hours = told.plan.run_time_limit.map_or(0.0, |limit| limit.as_secs_f64() / 3600.0);
    let _ = write!(into, "{no_heat}: it heated for {hours:.1} h and nobody touched the service.");
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn the_limit_itself_is_permitted() {
        let plan = |limit| FurnacePlan { run_time_limit: limit, ..crate::testing::furnace("north") };
        let after = |alone_s| Situation { alone_s, ..Situation::default() };
        let hour = Some(Duration::from_secs(3600));
        for (limit, alone_s, trips) in [(hour, 3600.0, false), (hour, 3600.1, true), (hour, f64::NAN, true), (None, 1e9, false)] {
            assert_eq!(verdict(&plan(limit), &after(alone_s)).cause, trips, "{limit:?} {alone_s}");
        }
    }
}
