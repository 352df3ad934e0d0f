//! The rows that are judged by this moment alone.

use std::time::Duration;

use super::super::InterlockKind::{
    self, Ending, GasSupply, Interrupted, OneTankOneLoad, OpeningAtHeat, OverTemperature, PurgeBeforeHeat, QuenchOverTemperature,
    QuenchReadiness, RoomOxygen, RunTimeLimit, SharedElectrical, SharedSupply, ShopRule, ShopWatch, Stop,
};
use super::{Case, Does, Says, Why, every, fine};
use crate::facts::{Facts, Room, Situation, Tank};
use crate::plan::FurnacePlan;
use crate::points::Sample;
use crate::rule::RulesNow;

/// What a row says in a situation in which every reading is good.
fn in_situation(plan: FurnacePlan, kind: InterlockKind, now: Situation) -> Says {
    Case::of(plan).says(kind, &fine(1.0), &now)
}

fn north() -> FurnacePlan {
    crate::testing::furnace("north")
}

fn with_gas(wired: bool) -> FurnacePlan {
    let plan = north();
    FurnacePlan { gas: plan.gas.clone().filter(|_| wired), ..plan }
}

/// It does so with its only reason if the cause stands.
fn when(cause: bool, does: Does) -> Says {
    cause.then_some((does, Why::Main))
}

#[test]
fn purge_before_heat() {
    every(|[gas, load_in, gas_load, charged_hot, proved]| {
        let now = Situation { load_in, gas_load, charged_hot, proved, ..Situation::default() };
        // "for a load that is to be protected by gas and starts cold … until the purge is proved"; it limits, so heat is not cut.
        let unprotected = if gas && load_in && gas_load { !(charged_hot || proved) } else { false };
        assert_eq!(in_situation(with_gas(gas), PurgeBeforeHeat, now), when(unprotected, Does::Alarm), "{now:?}");
    });
}

#[test]
fn opening_at_heat() {
    every(|[gas, load_in, gas_load, recovering, opening_expected, exposed]| {
        let now = Situation { load_in, gas_load, recovering, opening_expected, exposed, ..Situation::default() };
        // "a recovery purge starts at once, and an exposure account runs; over its budget it alarms and asks"; a pull is expected.
        let protected_steel = gas && load_in && gas_load;
        let opened = if opening_expected { false } else { recovering };
        let why = if exposed { Why::Other } else { Why::Main };
        let expected = (protected_steel && opened).then_some((Does::Alarm, why));
        assert_eq!(in_situation(with_gas(gas), OpeningAtHeat, now), expected, "{now:?}");
    });
}

#[test]
fn over_temperature() {
    every(|[read, above, peak_above, alarm_read, alarm, alarm_seen]| {
        let degree = |above| if above { 1060.01 } else { 1060.0 };
        let facts = Facts {
            temperature: if read { Sample::Good(degree(above)) } else { Sample::Stale },
            peak_c: degree(peak_above),
            // The middle between off and on is off.
            alarm: if alarm_read { Sample::Good(if alarm { 1.0 } else { 0.5 }) } else { Sample::Bad },
            alarm_seen,
            ..fine(1.0)
        };
        // "cuts heat, latched, at the furnace's own limit", and on the controller's own alarm.
        let hot = (read && above) || peak_above;
        let alarmed = (alarm_read && alarm) || alarm_seen;
        let expected = match (hot, alarmed) {
            (true, _) => Some((Does::CutLatched, Why::Main)),
            (false, true) => Some((Does::CutLatched, Why::Other)),
            (false, false) => None,
        };
        assert_eq!(Case::new().says(OverTemperature, &facts, &Situation::default()), expected, "{facts:?}");
    });
}

#[test]
fn gas_supply() {
    every(|[running, gas_load, gas_short, gas_word]| {
        let now = Situation { running, gas_load, gas_short, gas_word, ..Situation::default() };
        // "if the forecast … does not reach the end"; cleared by "more gas, or a person's word".
        let short = gas_short && !gas_word && (running && gas_load);
        assert_eq!(in_situation(north(), GasSupply, now), when(short, Does::Alarm), "{now:?}");
    });
}

#[test]
fn the_tank() {
    every(|[running, routed, ready, matters, near_flash, heater, taken]| {
        let now = Situation { running, tank: Tank { routed, ready, matters, near_flash, heater, taken }, ..Situation::default() };
        let asks = |kind| in_situation(north(), kind, now);
        let goes_there = running && routed;
        // "looked at before heat, again while there is still time to warm the oil, and at the call to pull"; none of them cuts heat.
        assert_eq!(asks(QuenchReadiness), when(goes_there && matters && !ready, Does::Alarm), "{now:?}");
        // "heater off, latched, no further pull, door closed and heat back while it waits": the latch is the tank's.
        assert_eq!(asks(QuenchOverTemperature), when(goes_there && near_flash, Does::Alarm), "{now:?}");
        // "a second furnace waits until the tank is released".
        assert_eq!(asks(OneTankOneLoad), when(running && taken, Does::Alarm), "{now:?}");
    });
}

#[test]
fn room_oxygen() {
    // "first level: alarm, no new start; second level, debounced: … a bad sensor alarms and forbids a start, and never shuts gas off".
    let table = [
        (Room::Unwired, None),
        (Room::Fine, None),
        (Room::Low, Some((Does::Alarm, Why::Main))),
        (Room::Unknown, Some((Does::Alarm, Why::Other))),
        (Room::Danger, Some((Does::CutLatched, Why::Third))),
    ];
    for (room, expected) in table {
        assert_eq!(in_situation(north(), RoomOxygen, Situation { room, ..Situation::default() }), expected, "{room:?}");
    }
}

#[test]
fn what_is_shared() {
    every(|[waits_for_supply, waits_for_power]| {
        let now = Situation { waits_for_supply, waits_for_power, ..Situation::default() };
        // "a purge that would take the manifold past its capacity waits its turn": gas waits, heat does not.
        assert_eq!(in_situation(north(), SharedSupply, now), when(waits_for_supply, Does::Alarm), "{now:?}");
        // "heating furnaces past the demand limit wait their turn": heat waits.
        assert_eq!(in_situation(north(), SharedElectrical, now), when(waits_for_power, Does::Cut), "{now:?}");
    });
}

#[test]
fn run_time_limit() {
    let hour = Duration::from_secs(3600);
    every(|[set, longer, unknown]| {
        let plan = FurnacePlan { run_time_limit: set.then_some(hour), ..north() };
        let alone_s = if longer { 3600.5 } else { 3600.0 };
        let now = Situation { alone_s: if unknown { f64::NAN } else { alone_s }, ..Situation::default() };
        // "cuts heat, latched, on a furnace that heats longer than its limit without a sign of life, where set"; not known is longer.
        let expected = when(unknown || (set && longer), Does::CutLatched);
        assert_eq!(in_situation(plan, RunTimeLimit, now), expected, "{set} {now:?}");
    });
}

#[test]
fn what_no_reading_trips() {
    every(|[interrupted, in_gap, ending]| {
        let now = Situation { interrupted, in_gap, ending, ..Situation::default() };
        // "no heat until a person says so"; a gap that may still be ridden through owes nothing.
        let expected = match (interrupted, in_gap) {
            (true, _) => Some((Does::CutLatched, Why::Main)),
            (false, true) => Some((Does::Cut, Why::Main)),
            (false, false) => None,
        };
        assert_eq!(in_situation(north(), Interrupted, now), expected, "{now:?}");
        // "A clean stop with a hot load cuts heat".
        assert_eq!(in_situation(north(), Ending, now), when(ending, Does::Cut), "{now:?}");
        // A stop is latched by the person who presses it, and nothing that is read is its cause.
        assert_eq!(in_situation(north(), Stop, now), None, "{now:?}");
    });
}

#[test]
fn rules_of_the_shop() {
    every(|[cuts, cuts_latched, warns, warns_latched, asks]| {
        let rules = RulesNow { cuts, cuts_latched, warns, warns_latched, asks, ..RulesNow::default() };
        let now = Situation { rules, ..Situation::default() };
        // "rules … with an effect from the list".
        let cut = if cuts_latched { Does::CutLatched } else { Does::Cut };
        assert_eq!(in_situation(north(), ShopRule, now), when(cuts, cut), "{now:?}");
        let warn = if warns_latched { Does::AlarmLatched } else { Does::Alarm };
        assert_eq!(in_situation(north(), ShopWatch, now), when(warns, warn), "{now:?}");
    });
}
