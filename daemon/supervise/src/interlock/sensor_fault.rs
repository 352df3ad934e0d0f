//! Sensor fault: a thermocouple that is broken, jumps, or does not answer to heat. Heat is cut and latched.
//!
//! The rate check sleeps while the door is open and during recovery: then the chamber really does fall fast.

use std::fmt::Write as _;

use hearthward_equipment::ShopMs;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::driver_lost::is_unwatched;
use super::row::{Verdict, Why};
use crate::facts::{Door, Facts, Situation};
use crate::plan::FurnacePlan;
use crate::points::Sample;
use serde::{Deserialize, Serialize};

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::SensorFault,
    id: "sensor_fault",
    title: "Sensor fault",
    does: "cuts heat on a thermometer that is broken, jumps, disagrees with the load's or does not answer to heat, latched",
    clears: "healthy for ten seconds, and a reset",
    causes: For::People,
};

/// What is watched over time.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Memory {
    /// Where the rate is measured from.
    from: Option<(ShopMs, f64)>,
    /// Where full output began, and since when.
    pushed: Option<(f64, f64)>,
    /// How long the load has been hotter than the heated chamber.
    apart_s: f64,
    /// How long the controller has answered without a temperature.
    empty_s: f64,
    /// For how many seconds the thermometer has been read healthy since its last fault, while that is not yet forgotten.
    faulty: Option<(f64, Why)>,
}

impl Memory {
    /// The healthy time begins anew: nobody read the thermometer for a while.
    pub(crate) fn doubt(&mut self, why: Why) {
        self.faulty = Some((0.0, why));
    }
}

/// Shortest time that a rate is taken over: a reading in whole degrees at ten a second would otherwise look steep.
const RATE_OVER_S: f64 = 5.0;
/// A step that is never steep: two steps of a reading in whole degrees.
const ROUNDING_K: f64 = 2.0;
/// How long after the door shut the rate check sleeps: the thermocouple catches up with the chamber (assumed, no source).
const SLEEPS_AFTER_DOOR_S: f64 = 60.0;
/// Share of full power from which heat must show.
const FULL: f64 = 0.9;
/// A rise that counts as an answer to heat.
const ANSWER_K: f64 = 3.0;
/// How long a sensor must be read healthy, without a break, before its fault counts as gone.
const HEALTHY_S: f64 = 10.0;
/// A controller that answers and gives no temperature for so long has a broken thermometer; until then it counts as not read.
const EMPTY_S: f64 = 5.0;
/// A load cannot be hotter than the chamber that heats it: by more than this for longer than that the two disagree (assumed, no source).
const APART_K: f64 = 50.0;
const APART_S: f64 = 30.0;

pub(super) fn verdict(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    memory.empty_s = if facts.empty { memory.empty_s + facts.dt_s } else { 0.0 };
    let broken = facts.temperature == Sample::Bad || facts.doubtful || memory.empty_s > EMPTY_S;
    let seen = if broken {
        Some(Why::Main)
    } else if is_steep(plan, facts, now, memory) {
        Some(Why::Other)
    } else if is_deaf(plan, facts, now, memory) {
        Some(Why::Third)
    } else if disagrees(facts, now, memory) {
        Some(Why::Fourth)
    } else {
        None
    };
    // What nobody read or looked at proves no health: the count begins anew after it.
    let watched = facts.temperature.good().is_some() && !is_unwatched(plan, facts);
    memory.faulty = match (seen, memory.faulty) {
        (Some(why), _) => Some((0.0, why)),
        (None, Some((_, why))) if !watched => Some((0.0, why)),
        (None, Some((healthy_s, why))) if healthy_s + facts.dt_s < HEALTHY_S => Some((healthy_s + facts.dt_s, why)),
        (None, _) => None,
    };
    match memory.faulty {
        Some((_, why)) => Verdict::latched(true).because(why),
        None => Verdict::latched(false),
    }
}

fn is_steep(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> bool {
    let (Some(read_c), Some(at)) = (facts.temperature.good(), facts.read_at) else { return false };
    // A person reads now and then: what is between two entries is no rate.
    if facts.by_hand || matches!(facts.door, Door::Open | Door::Unknown) || now.recovering || now.shut_for_s < SLEEPS_AFTER_DOOR_S
    {
        memory.from = Some((at, read_c));
        return false;
    }
    let Some((from, from_c)) = memory.from else {
        memory.from = Some((at, read_c));
        return false;
    };
    let over_s = at.since(from).as_secs_f64();
    if over_s >= RATE_OVER_S {
        memory.from = Some((at, read_c));
    }
    steeper(read_c - from_c, over_s, plan.steepest_k_per_s)
}

/// The expression of the rate check.
fn steeper(change_k: f64, over_s: f64, steepest_k_per_s: f64) -> bool {
    !(change_k.abs() <= steepest_k_per_s * over_s.max(RATE_OVER_S) + ROUNDING_K)
}

fn is_deaf(plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> bool {
    let read_c = facts.temperature.or_nan();
    let pushes = now.heating
        && facts.door != Door::Open
        && match facts.output_share {
            Sample::Good(share) => share >= FULL,
            // Without a share, full output is what a controller far below its set point gives.
            _ => now.wanted_c.is_some_and(|wanted_c| wanted_c - read_c > 50.0),
        };
    if !pushes {
        memory.pushed = None;
        return false;
    }
    let (start_c, for_s) = memory.pushed.unwrap_or((read_c, 0.0));
    let for_s = for_s + facts.dt_s;
    let answers = read_c - start_c >= ANSWER_K;
    memory.pushed = Some(if answers { (read_c, 0.0) } else { (start_c.min(read_c), for_s) });
    !answers && for_s > plan.no_response_after.as_secs_f64()
}

fn disagrees(facts: &Facts, now: &Situation, memory: &mut Memory) -> bool {
    let (Some(load_c), Some(read_c)) = (facts.load.good(), facts.temperature.good()) else {
        memory.apart_s = 0.0;
        return false;
    };
    let apart = now.heating && load_c - read_c > APART_K;
    memory.apart_s = if apart { memory.apart_s + facts.dt_s } else { 0.0 };
    memory.apart_s > APART_S
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let what = match told.row.why() {
        Why::Main => "is broken or not to be relied upon",
        Why::Other => "jumped faster than a furnace can change",
        Why::Third => "does not answer to heat: thermocouple, element or relay",
        Why::Fourth => "reads far below the load's while it heats",
    };
    let _ = write!(into, "{no_heat}: its thermometer {what}. Look at it before you reset.");
    into.push_str(owed(told));
    let shown = told.facts.temperature.good().zip(told.situation.last_c).filter(|_| !told.row.cause());
    if let Some((now_c, before_c)) = shown.filter(shows_another) {
        let _ = write!(
            into,
            " It shows {now_c:.0} °C and showed {before_c:.0} °C before: see which is true, a reset believes the first."
        );
    }
}

/// Whether it shows something else now than it did before, in °C: more than a furnace and its load may differ by.
fn shows_another((now_c, before_c): &(f64, f64)) -> bool {
    (now_c - before_c).abs() > APART_K
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_differs_by_more_than_fifty_kelvins_is_something_else() {
        for (now_c, before_c, another) in [(30.0, 800.0, true), (800.0, 30.0, true), (750.0, 800.0, false), (749.9, 800.0, true)]
        {
            assert_eq!(shows_another(&(now_c, before_c)), another, "{now_c} after {before_c}");
        }
    }

    #[test]
    fn the_rate_has_room_for_rounding_and_none_for_a_broken_wire() {
        let table = [(2.0, 0.1, false), (12.0, 5.0, false), (12.1, 5.0, true), (22.0, 10.0, false), (22.1, 10.0, true)];
        for (change_k, over_s, steep) in table {
            assert_eq!(steeper(change_k, over_s, 2.0), steep, "{change_k} K in {over_s} s");
            assert_eq!(steeper(-change_k, over_s, 2.0), steep, "-{change_k} K in {over_s} s");
        }
        assert!(steeper(f64::NAN, 5.0, 2.0));
        assert!(steeper(1.0, 5.0, f64::NAN));
    }
}
