//! Driver lost: a reading older than its limit, or a driver out of service. Heat is cut; within the ride-through it clears by itself.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::{Verdict, Why};
use crate::facts::{Facts, Situation};
use crate::gas::hot_c;
use crate::plan::FurnacePlan;
use crate::points::Sample;
use serde::{Deserialize, Serialize};

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::DriverLost,
    id: "driver_lost",
    title: "Driver lost",
    does: "cuts heat when a reading that heat needs is older than its limit or its driver is out of service",
    clears: "readings back that agree with those before; by itself within the ride-through, else by a reset",
    causes: For::People,
};

/// Where it was before it was lost.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Memory {
    /// The last good temperature and how long ago it was, while lost.
    before_c: Option<f64>,
    lost_s: f64,
    /// How long the last gap was.
    pub(crate) gap_s: f64,
}

/// How far readings may differ across a gap beside what the closed furnace falls by itself (assumed, no source).
pub(crate) const AGREE_K: f64 = 15.0;

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    let cause = is_lost(facts) || is_unwatched(plan, facts);
    if facts.by_hand && !facts.out_of_service {
        // What a person read has only grown old: it is asked for first, and the next entry is no gap that could disagree.
        *memory = Memory { before_c: facts.temperature.good(), ..Memory::default() };
        return Verdict::off(cause && !facts.aging);
    }
    if cause {
        memory.lost_s += facts.dt_s;
        let long = !(memory.lost_s <= now.ride_through_s);
        let why = if facts.out_of_service { Why::Other } else { Why::Main };
        // A cold furnace without a load may be switched off over night: nothing was heated, and nothing is doubtful when it comes back.
        let matters = now.running || memory.before_c.is_some_and(|before_c| before_c > hot_c(plan));
        return Verdict { cause, latch: matters && long, off: true, why };
    }
    let came_back = memory.lost_s > 0.0;
    let fell_k = memory.before_c.map_or(0.0, |before_c| before_c - facts.temperature.or_nan());
    let disagrees = came_back && now.running && !agrees(fell_k, memory.lost_s, plan.falls_k_per_s);
    if let Some(read_c) = facts.temperature.good() {
        memory.before_c = Some(read_c);
    }
    if came_back {
        memory.gap_s = memory.lost_s;
    }
    memory.lost_s = 0.0;
    Verdict { cause: disagrees, latch: disagrees, off: true, why: Why::Third }
}

/// The expression: heat needs the temperature and, where one is wired, the controller's own alarm.
fn is_lost(facts: &Facts) -> bool {
    let missing = |sample| matches!(sample, Sample::Stale | Sample::Never);
    let alarm_missing = facts.alarm_wired && facts.alarm.good().is_none();
    facts.out_of_service || missing(facts.temperature) || alarm_missing
}

/// Nothing was decided for longer than a reading may grow old: in that time this furnace was not watched, however fresh its readings
/// are now. A computer that slept is a daemon that was gone.
pub(super) fn is_unwatched(plan: &FurnacePlan, facts: &Facts) -> bool {
    !(facts.dt_s <= plan.stale_after.as_secs_f64())
}

/// Whether a fall of so many kelvins in a gap is what a closed furnace without heat does.
pub(crate) fn agrees(fell_k: f64, gap_s: f64, falls_k_per_s: f64) -> bool {
    // Twice the known fall: it was measured once, at one heat.
    fell_k >= -AGREE_K && fell_k <= 2.0 * falls_k_per_s * gap_s + AGREE_K
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let _ = match (told.row.why(), told.row.cause()) {
        (Why::Other, true) => {
            write!(into, "{no_heat}: its driver is out of service. See why with the drivers.")
        }
        (Why::Third, _) => {
            write!(into, "{no_heat}: it could not be read for a while, and what it reads now does not agree.")
        }
        (_, true) if told.facts.by_hand => {
            write!(into, "{no_heat}: nobody has read it lately. Read its thermometer and enter what it shows.")
        }
        (_, true) if told.facts.temperature == Sample::Never => write!(into, "{no_heat}: it has not been read yet."),
        (_, true) => write!(into, "{no_heat}: it cannot be read. Look at its line and its driver."),
        (_, false) => write!(into, "{no_heat}: it could not be read for longer than is ridden through."),
    };
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_heat_needs_is_looked_at() {
        let fine = Facts { temperature: Sample::Good(20.0), alarm: Sample::Good(0.0), alarm_wired: true, ..Facts::nothing() };
        assert!(!is_lost(&fine));
        for temperature in [Sample::Stale, Sample::Never] {
            assert!(is_lost(&Facts { temperature, ..fine }));
        }
        for alarm in [Sample::Stale, Sample::Never, Sample::Bad] {
            assert!(is_lost(&Facts { alarm, ..fine }));
            assert!(!is_lost(&Facts { alarm, alarm_wired: false, ..fine }));
        }
        assert!(is_lost(&Facts { out_of_service: true, ..fine }));
    }

    #[test]
    fn a_tick_that_came_too_late_leaves_a_gap() {
        let plan = FurnacePlan { stale_after: std::time::Duration::from_secs(5), ..crate::testing::furnace("north") };
        for (dt_s, unwatched) in [(1.0, false), (5.0, false), (5.001, true), (f64::NAN, true)] {
            assert_eq!(is_unwatched(&plan, &Facts { dt_s, ..Facts::nothing() }), unwatched, "{dt_s}");
        }
    }

    #[test]
    fn readings_agree_across_a_gap_or_they_do_not() {
        let table = [(0.0, true), (75.0, true), (75.1, false), (-15.0, true), (-15.1, false), (f64::NAN, false)];
        for (fell_k, agree) in table {
            assert_eq!(agrees(fell_k, 60.0, 0.5), agree, "{fell_k}");
        }
    }
}
