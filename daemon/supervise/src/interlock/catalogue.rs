//! The catalogue: one entry a row, from which words, documents and screens come; and the way from a row to its expression.

use std::fmt::{self, Write as _};

use super::row::{Row, Verdict};
use super::{
    InterlockKind, door_open, driver_lost, gas_supply, off_set_point, opening_at_heat, over_temperature, purge_before_heat,
    purge_flow, quench, room_oxygen, run_time, sensor_fault, shared, shop_rules, stops,
};
use crate::facts::{Facts, Situation, can_cut};
use crate::plan::FurnacePlan;
use crate::rule::RuleEffect;
use serde::{Deserialize, Serialize};

/// What a row is, for people: everything that names or explains an interlock takes it from here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Which.
    pub kind: InterlockKind,
    /// Its name for programs.
    pub id: &'static str,
    /// Its name for people.
    pub title: &'static str,
    /// What it does.
    pub does: &'static str,
    /// What clears it.
    pub clears: &'static str,
    /// For whom its cause is one.
    pub causes: For,
}

impl Entry {
    /// Its name as people type it.
    #[must_use]
    pub fn word(&self) -> String {
        self.id.replace('_', "-")
    }
}

/// The two kinds of cause, and turns that are waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum For {
    /// For people and equipment: heat is cut in the tick that saw it.
    People,
    /// For the steel: a person is alarmed and asked.
    Steel,
    /// Nothing is wrong: something is waited for.
    Turn,
}

/// What a row does when its cause stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Heat is cut in the tick that saw it.
    Cuts,
    /// Heat is held at or below a ceiling.
    Limits,
    /// Heat is left alone; a person is alarmed and asked.
    Asks,
    /// No part is called out and the bath's heater is off; heat goes on while the load waits.
    HoldsPull,
    /// Something is waited for.
    Waits,
    /// A person is alarmed.
    Alarms,
}

/// What rows remember from tick to tick.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Memory {
    pub(crate) door: door_open::Memory,
    pub(crate) sensor: sensor_fault::Memory,
    pub(crate) driver: driver_lost::Memory,
    pub(crate) off: off_set_point::Memory,
    pub(crate) flow: purge_flow::Memory,
}

/// What a row's words are made from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Told<'a> {
    pub(crate) plan: &'a FurnacePlan,
    pub(crate) facts: &'a Facts,
    pub(crate) situation: &'a Situation,
    pub(crate) row: &'a Row,
}

/// The catalogue's entry for a row.
#[must_use]
pub fn entry(kind: InterlockKind) -> &'static Entry {
    match kind {
        InterlockKind::PurgeBeforeHeat => &purge_before_heat::ENTRY,
        InterlockKind::OpeningAtHeat => &opening_at_heat::ENTRY,
        InterlockKind::DoorOpen => &door_open::ENTRY,
        InterlockKind::OverTemperature => &over_temperature::ENTRY,
        InterlockKind::OffSetPoint => &off_set_point::ENTRY,
        InterlockKind::SensorFault => &sensor_fault::ENTRY,
        InterlockKind::DriverLost => &driver_lost::ENTRY,
        InterlockKind::PurgeFlow => &purge_flow::ENTRY,
        InterlockKind::GasSupply => &gas_supply::ENTRY,
        InterlockKind::QuenchReadiness => &quench::READINESS,
        InterlockKind::QuenchOverTemperature => &quench::OVER_TEMPERATURE,
        InterlockKind::RoomOxygen => &room_oxygen::ENTRY,
        InterlockKind::OneTankOneLoad => &quench::ONE_LOAD,
        InterlockKind::SharedSupply => &shared::SUPPLY,
        InterlockKind::SharedElectrical => &shared::ELECTRICAL,
        InterlockKind::RunTimeLimit => &run_time::ENTRY,
        InterlockKind::Stop => &stops::STOP,
        InterlockKind::Interrupted => &stops::INTERRUPTED,
        InterlockKind::Ending => &stops::ENDING,
        InterlockKind::ShopRule => &shop_rules::RULE,
        InterlockKind::ShopWatch => &shop_rules::WATCH,
    }
}

/// What a row does when its cause stands, where what it needs is wired.
#[must_use]
pub fn effect(kind: InterlockKind) -> Effect {
    match kind {
        InterlockKind::PurgeBeforeHeat => Effect::Limits,
        InterlockKind::OffSetPoint => Effect::Alarms,
        InterlockKind::QuenchOverTemperature => Effect::HoldsPull,
        _ => match entry(kind).causes {
            For::People => Effect::Cuts,
            For::Steel => Effect::Asks,
            For::Turn => Effect::Waits,
        },
    }
}

/// The row's expression in this tick.
pub(crate) fn verdict(kind: InterlockKind, plan: &FurnacePlan, facts: &Facts, now: &Situation, memory: &mut Memory) -> Verdict {
    match kind {
        InterlockKind::PurgeBeforeHeat => purge_before_heat::verdict(plan, now),
        InterlockKind::OpeningAtHeat => opening_at_heat::verdict(plan, now),
        InterlockKind::DoorOpen => door_open::verdict(plan, facts, now, &mut memory.door),
        InterlockKind::OverTemperature => over_temperature::verdict(plan, facts),
        InterlockKind::OffSetPoint => off_set_point::verdict(plan, facts, now, &mut memory.off),
        InterlockKind::SensorFault => sensor_fault::verdict(plan, facts, now, &mut memory.sensor),
        InterlockKind::DriverLost => driver_lost::verdict(plan, facts, now, &mut memory.driver),
        InterlockKind::PurgeFlow => purge_flow::verdict(plan, facts, now, &mut memory.flow),
        InterlockKind::GasSupply => gas_supply::verdict(now),
        InterlockKind::QuenchReadiness => quench::readiness(now),
        InterlockKind::QuenchOverTemperature => quench::over_temperature(now),
        InterlockKind::RoomOxygen => room_oxygen::verdict(now),
        InterlockKind::OneTankOneLoad => quench::one_load(now),
        InterlockKind::SharedSupply => shared::supply(now),
        InterlockKind::SharedElectrical => shared::electrical(now),
        InterlockKind::RunTimeLimit => run_time::verdict(plan, now),
        // A stop is a person's act, not a reading: once pressed there is no cause left that could last.
        InterlockKind::Stop => Verdict::latched(false),
        InterlockKind::Interrupted => stops::interrupted(now),
        InterlockKind::Ending => stops::ending(now),
        InterlockKind::ShopRule => shop_rules::rule(now),
        InterlockKind::ShopWatch => shop_rules::watch(now),
    }
}

/// Whether the row belongs to this furnace at all.
pub(crate) fn applies(kind: InterlockKind, plan: &FurnacePlan, room_monitored: bool, demand_limited: bool) -> bool {
    match kind {
        InterlockKind::PurgeBeforeHeat
        | InterlockKind::OpeningAtHeat
        | InterlockKind::PurgeFlow
        | InterlockKind::GasSupply
        | InterlockKind::SharedSupply => plan.gas.is_some(),
        InterlockKind::DoorOpen => plan.door.is_some(),
        InterlockKind::RoomOxygen => room_monitored,
        InterlockKind::SharedElectrical => demand_limited,
        InterlockKind::RunTimeLimit => plan.run_time_limit.is_some(),
        InterlockKind::ShopRule => plan.policy.rules.iter().any(|rule| rule.effect == RuleEffect::Cut),
        InterlockKind::ShopWatch => plan.policy.rules.iter().any(|rule| rule.effect != RuleEffect::Cut),
        _ => true,
    }
}

/// Whether anything is wired that acts for this row; otherwise it only warns.
pub(crate) fn acts(kind: InterlockKind, plan: &FurnacePlan, now: &Situation) -> bool {
    match kind {
        InterlockKind::OffSetPoint
        | InterlockKind::PurgeFlow
        | InterlockKind::GasSupply
        | InterlockKind::QuenchReadiness
        | InterlockKind::ShopWatch => false,
        InterlockKind::QuenchOverTemperature => now.tank.heater,
        InterlockKind::SharedSupply => plan.gas.as_ref().is_some_and(|gas| gas.meter.is_some() && !gas.by_eye),
        _ => can_cut(plan),
    }
}

/// Whether a configuration may open a row to bypasses, or why it never may.
///
/// # Errors
/// The reason, as the rest of a sentence.
pub fn may_be_bypassed(kind: InterlockKind) -> Result<(), &'static str> {
    match kind {
        InterlockKind::DoorOpen
        | InterlockKind::OverTemperature
        | InterlockKind::SensorFault
        | InterlockKind::RoomOxygen
        | InterlockKind::Stop => Err("it stands between heat and people"),
        InterlockKind::QuenchOverTemperature => Err("it keeps the bath away from its flash point"),
        InterlockKind::PurgeBeforeHeat => Err("without a purge the load is not protected by gas; give it another protection"),
        InterlockKind::OneTankOneLoad | InterlockKind::SharedSupply | InterlockKind::SharedElectrical => {
            Err("it waits for what others use, and there is no more of that")
        }
        InterlockKind::Interrupted => Err("a person's answer clears it"),
        InterlockKind::Ending => Err("the next start clears it"),
        InterlockKind::OpeningAtHeat
        | InterlockKind::OffSetPoint
        | InterlockKind::DriverLost
        | InterlockKind::PurgeFlow
        | InterlockKind::GasSupply
        | InterlockKind::QuenchReadiness
        | InterlockKind::RunTimeLimit
        | InterlockKind::ShopRule
        | InterlockKind::ShopWatch => Ok(()),
    }
}

/// Writes why a row stands and what would clear it, in sentences that stand alone.
pub(crate) fn say(kind: InterlockKind, told: &Told<'_>, into: &mut String) {
    match kind {
        InterlockKind::PurgeBeforeHeat => purge_before_heat::say(told, into),
        InterlockKind::OpeningAtHeat => opening_at_heat::say(told, into),
        InterlockKind::DoorOpen => door_open::say(told, into),
        InterlockKind::OverTemperature => over_temperature::say(told, into),
        InterlockKind::OffSetPoint => off_set_point::say(told, into),
        InterlockKind::SensorFault => sensor_fault::say(told, into),
        InterlockKind::DriverLost => driver_lost::say(told, into),
        InterlockKind::PurgeFlow => purge_flow::say(told, into),
        InterlockKind::GasSupply => gas_supply::say(told, into),
        InterlockKind::QuenchReadiness | InterlockKind::QuenchOverTemperature | InterlockKind::OneTankOneLoad => {
            quench::say(kind, told, into);
        }
        InterlockKind::RoomOxygen => room_oxygen::say(told, into),
        InterlockKind::SharedSupply | InterlockKind::SharedElectrical => shared::say(kind, told, into),
        InterlockKind::RunTimeLimit => run_time::say(told, into),
        InterlockKind::Stop | InterlockKind::Interrupted | InterlockKind::Ending => stops::say(kind, told, into),
        InterlockKind::ShopRule | InterlockKind::ShopWatch => shop_rules::say(kind, told, into),
    }
    if told.row.withholds() && !can_cut(told.plan) {
        let _ = write!(into, " Nothing is wired that could cut its heat: turn {} off by hand.", told.plan.name);
    }
}

/// How a sentence about heat that must not be begins: where nothing is wired that could withhold it, nobody is told that it is.
pub(super) struct NoHeat<'a>(pub(super) &'a FurnacePlan);

impl fmt::Display for NoHeat<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = &self.0.name;
        if can_cut(self.0) { write!(f, "Heat is withheld from {name}") } else { write!(f, "{name} must not be heated") }
    }
}

/// That a reset is owed, if one is.
pub(super) fn owed(told: &Told<'_>) -> &'static str {
    match (told.row.is_latched(), told.row.cause()) {
        (true, true) => " It is latched: reset it once the cause is gone.",
        (true, false) => " The cause is gone: reset it to go on.",
        (false, _) => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_its_own_entry() {
        let mut ids = Vec::new();
        for (place, kind) in InterlockKind::ALL.into_iter().enumerate() {
            assert_eq!(kind as usize, place);
            let entry = entry(kind);
            assert_eq!(entry.kind, kind);
            assert!([entry.does, entry.clears, entry.title].iter().all(|words| !words.is_empty()), "{kind:?}");
            ids.push(entry.id);
        }
        assert_eq!(entry(InterlockKind::PurgeBeforeHeat).word(), "purge-before-heat", "as people type it");
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), InterlockKind::COUNT);
    }
}
