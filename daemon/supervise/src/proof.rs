//! Guided proof tests: a person brings the cause of an interlock about, and the service watches that it trips and clears. What cannot be
//! watched is told by the person who saw it. What came of each, when, and what it rests on go on record, and one that is owed is
//! reminded of.

use std::time::Duration;

use hearthward_equipment::{Evidence, Name};
use serde::{Deserialize, Serialize};

use crate::interlock::InterlockKind;
use crate::plan::{FurnacePlan, ShopPlan};

/// A test that runs.
///
/// ```text
/// Tripping ──the row trips, and withholds heat where it is to──▶ Clearing ──its cause is gone──▶ passed
///     │                                     ├──not in time, or its load is over──────────────────▶ failed
///     ├──heat goes past what the row permits┴────────────────────────────────────────────────────▶ failed
///     ├──not in time, or its load is over: nobody knows whether the cause was there──────────────▶ not tested
///     └──nobody watched, the row is no longer the furnace's, or it was called off (in either)────▶ void: the last outcome stands
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Proof {
    pub(crate) kind: InterlockKind,
    pub(crate) person: String,
    pub(crate) stage: ProofStage,
    pub(crate) left_ms: u64,
    /// Time of day when it was asked for, in milliseconds since 1970: the label of the outcome.
    pub(crate) wall_ms: i64,
}

/// How far a test has come.
///
/// ```text
/// Tripping ──▶ Clearing
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum ProofStage {
    /// The person brings the cause about.
    Tripping,
    /// The person takes it away again.
    Clearing,
}

/// What came of the last test of one interlock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Proved {
    pub(crate) kind: InterlockKind,
    pub(crate) passed: bool,
    /// Watched by the service, or told by a person.
    pub(crate) evidence: Evidence,
    pub(crate) wall_ms: i64,
    /// When, by the time that the furnace has been looked after.
    at_ms: u64,
}

/// The tests of one furnace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Proofs {
    pub(crate) running: Option<Proof>,
    outcomes: Vec<Proved>,
    /// For how long the furnace has been looked after, in milliseconds, times away included where they are known. No wall clock: a step
    /// of it neither owes a test nor spares one.
    looked_after_ms: u64,
    /// Until it is looked again whether a test is owed, in milliseconds.
    look_ms: u64,
}

/// How often people are reminded at most.
const DAY_MS: u64 = 86_400_000;
/// How soon after it falls due a test is reminded of at the latest.
const HOUR_MS: u64 = 3_600_000;

impl Proofs {
    /// Nothing was ever tested. The first reminder comes after a day: whoever has just begun has enough to do.
    pub(crate) fn new() -> Self {
        Self { running: None, outcomes: Vec::new(), looked_after_ms: 0, look_ms: DAY_MS }
    }

    /// Lets time pass. Says whether it is time to look what is owed.
    pub(crate) fn pass(&mut self, dt_ms: u64) -> bool {
        self.looked_after_ms = self.looked_after_ms.saturating_add(dt_ms);
        self.look_ms = self.look_ms.saturating_sub(dt_ms);
        self.look_ms == 0
    }

    /// It was looked; a reminder was given, or nothing is owed.
    pub(crate) fn looked(&mut self, reminded: bool) {
        self.look_ms = if reminded { DAY_MS } else { HOUR_MS };
    }

    /// What came of the last test of this interlock.
    pub(crate) fn of(&self, kind: InterlockKind) -> Option<&Proved> {
        self.outcomes.iter().find(|proved| proved.kind == kind)
    }

    /// An outcome takes the place of the last one.
    pub(crate) fn keep(&mut self, kind: InterlockKind, passed: bool, evidence: Evidence, wall_ms: i64) {
        self.forget(kind);
        self.outcomes.push(Proved { kind, passed, evidence, wall_ms, at_ms: self.looked_after_ms });
    }

    /// Nothing was seen of a test: what an earlier one showed may not be so any more.
    pub(crate) fn forget(&mut self, kind: InterlockKind) {
        self.outcomes.retain(|known| known.kind != kind);
    }

    /// Whether a test is owed: there was none, it failed, or it is older than the shop lets one stand.
    pub(crate) fn owes(&self, kind: InterlockKind, stands: Duration) -> bool {
        let is_young = |at_ms: u64| u128::from(self.looked_after_ms.saturating_sub(at_ms)) <= stands.as_millis();
        !self.of(kind).is_some_and(|proved| proved.passed && is_young(proved.at_ms))
    }

    /// Goes on after a time away; one that nobody knows counts as none here, and the matrix holds each date against the wall clock.
    pub(crate) fn away(&mut self, away_ms: Option<u64>) {
        self.pass(away_ms.unwrap_or(0));
    }
}

/// How a row is tested in a shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Guide {
    pub(crate) needs: Needs,
    /// What the person does; [`Guide::trips`] puts the furnace's name into it.
    trips: &'static str,
    /// What undoes it; for [`Needs::Word`] what the person should see.
    pub(crate) undoes: &'static str,
    /// How long each half of it is watched, in milliseconds.
    pub(crate) half_ms: u64,
}

impl Guide {
    /// What the person does at this furnace.
    pub(crate) fn trips(&self, furnace: &Name) -> String {
        self.trips.replace(FURNACE, furnace.as_str())
    }
}

/// Stands for the furnace's name in what a person does.
const FURNACE: &str = "FURNACE";

/// What has to be in the furnace for a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Needs {
    /// Nothing.
    NoLoad,
    /// A load that nobody will miss.
    Scrap,
    /// Whatever an ordinary day brings.
    Either,
    /// The service cannot watch it: a person says what they saw.
    Word,
}

/// A person walks to the furnace and back; longer where steel has to come to heat, a bath to cool, another load to go its way (all common
/// practice, no source).
const MINUTE_MS: u64 = 60_000;
const WALK_MS: u64 = 10 * MINUTE_MS;

/// How a row is tested, or why there is nothing to test.
pub(crate) fn guide(kind: InterlockKind, shop: &ShopPlan, plan: &FurnacePlan) -> Result<Guide, &'static str> {
    let read_by_hand = plan.controller.is_none();
    match kind {
        InterlockKind::OverTemperature | InterlockKind::SensorFault | InterlockKind::DriverLost if read_by_hand => {
            Err("a person reads its thermometer, and sees what the service would")
        }
        InterlockKind::OneTankOneLoad | InterlockKind::SharedElectrical if shop.furnaces.len() < 2 => {
            Err("no other furnace is there to wait for")
        }
        InterlockKind::SharedSupply if !shares_supply(shop, plan) => Err("no other furnace draws on its supply"),
        InterlockKind::QuenchReadiness | InterlockKind::QuenchOverTemperature | InterlockKind::OneTankOneLoad
            if shop.tanks.is_empty() =>
        {
            Err("there is no tank")
        }
        InterlockKind::GasSupply if !has_gauge(shop, plan) => {
            Err("no gauge and volume of its cylinder are known to forecast from")
        }
        _ => Ok(empty(kind, plan).or_else(|| loaded(kind, plan)).unwrap_or_else(|| ordinary(kind))),
    }
}

fn shares_supply(shop: &ShopPlan, plan: &FurnacePlan) -> bool {
    let supply = plan.gas.as_ref().map(|gas| gas.supply);
    let here = |one: &&FurnacePlan| supply.is_some() && one.gas.as_ref().map(|gas| gas.supply) == supply;
    shop.furnaces.iter().filter(here).nth(1).is_some()
}

fn has_gauge(shop: &ShopPlan, plan: &FurnacePlan) -> bool {
    let supply = plan.gas.as_ref().and_then(|gas| shop.supplies.get(gas.supply.index()));
    supply.is_some_and(|supply| supply.pressure.is_some() && supply.cylinder_volume.is_some())
}

/// Tests with nothing in the furnace.
fn empty(kind: InterlockKind, plan: &FurnacePlan) -> Option<Guide> {
    let (trips, undoes) = match kind {
        InterlockKind::DoorOpen => ("open its door", "shut its door"),
        InterlockKind::OverTemperature if plan.over_temperature.is_some() => (
            "bring its controller's own over-temperature alarm on, as the controller's maker says",
            "take the alarm back, and leave its setting as it was",
        ),
        InterlockKind::OverTemperature => (
            "with the furnace cold and its disconnect off, let a thermocouple simulator in the thermocouple's place show more than its limit",
            "put the thermocouple back, and wait ten seconds",
        ),
        InterlockKind::SensorFault => (
            "with the furnace cold and its disconnect off, open the thermocouple's circuit at its connector",
            "close the circuit again and wait ten seconds",
        ),
        InterlockKind::DriverLost => ("unplug the data cable of its controller", "plug the cable in again"),
        InterlockKind::RoomOxygen => (
            "hold the test gas of the oxygen monitor to it until it alarms, as the monitor's maker says",
            "let the monitor breathe the room's air again",
        ),
        InterlockKind::Stop => ("stop it, as with `hearthward interlock stop FURNACE`", "nothing more"),
        InterlockKind::ShopRule | InterlockKind::ShopWatch => {
            ("bring about what one of its own rules watches for", "take that away again")
        }
        _ => return None,
    };
    Some(Guide { needs: Needs::NoLoad, trips, undoes, half_ms: WALK_MS })
}

/// Tests with a load that nobody will miss: scrap steel goes through the cycle, and what protects it is taken away.
fn loaded(kind: InterlockKind, plan: &FurnacePlan) -> Option<Guide> {
    let (trips, undoes, minutes) = match kind {
        InterlockKind::OpeningAtHeat => (
            "with scrap steel at heat under gas, open its door for ten seconds, dressed for it and standing aside",
            "shut its door, and wait until its atmosphere is back under its limit",
            30,
        ),
        InterlockKind::OffSetPoint => (
            "in the soak of scrap steel, take the power from its elements at the disconnect and leave its controller on",
            "give the power back, and wait until it is back in its band",
            45,
        ),
        InterlockKind::PurgeFlow if plan.gas.as_ref().is_some_and(|gas| gas.by_eye) => (
            "with scrap steel at heat under gas, shut the valve at its meter, and enter what the meter shows",
            "open the valve again, and enter what the meter shows",
            10,
        ),
        InterlockKind::PurgeFlow => {
            ("with scrap steel at heat under gas, shut the valve at its meter", "open the valve again", 10)
        }
        InterlockKind::GasSupply => (
            "with scrap steel in under gas, shut the valve of the cylinder and let the gauge run down",
            "open the cylinder again, and wait two minutes",
            30,
        ),
        InterlockKind::QuenchReadiness => (
            "with scrap steel that is to go into the tank on its way to heat, stop the agitator or lift the bath's thermometer out",
            "put it back as it was",
            30,
        ),
        InterlockKind::QuenchOverTemperature => (
            "with scrap steel that is to go into the tank on its way to heat, let a simulator in the place of the bath's thermometer show more than its limit; never warm the oil for it",
            "put the thermometer back, and reset the row",
            15,
        ),
        InterlockKind::Interrupted if plan.controller.is_some() => (
            "with scrap steel at heat, unplug the data cable of its controller for longer than is ridden through, then plug it in",
            "answer what becomes of the load",
            20,
        ),
        InterlockKind::RunTimeLimit => (
            "let scrap steel heat for longer than its limit, stay by it, and do not touch the service",
            "reset the row",
            run_time_minutes(plan),
        ),
        _ => return None,
    };
    Some(Guide { needs: Needs::Scrap, trips, undoes, half_ms: minutes * MINUTE_MS })
}

/// The limit and a walk.
fn run_time_minutes(plan: &FurnacePlan) -> u64 {
    plan.run_time_limit.map_or(0, |limit| limit.as_secs() / 60) + WALK_MS / MINUTE_MS
}

/// What an ordinary day shows, and what only a person sees.
fn ordinary(kind: InterlockKind) -> Guide {
    let (needs, trips, undoes, hours) = match kind {
        InterlockKind::PurgeBeforeHeat => (
            Needs::Either,
            "start a load that gas protects in the cold furnace, and put it in",
            "wait until its purge is proved: it fails if heat goes past the ceiling before",
            8,
        ),
        InterlockKind::OneTankOneLoad => (
            Needs::Either,
            "let its load come to the end of its soak while another furnace's load keeps the tank",
            "wait until the tank is released",
            12,
        ),
        InterlockKind::SharedSupply => (
            Needs::Either,
            "start a load that gas protects while other furnaces on its supply purge",
            "wait until it is its turn",
            12,
        ),
        InterlockKind::SharedElectrical => {
            (Needs::Either, "start a load while other furnaces heat", "wait until it is its turn", 12)
        }
        InterlockKind::Interrupted => (
            Needs::Word,
            "with scrap steel at heat, kill the service, start it again after more than is ridden through",
            "it heats nothing and asks what becomes of the load",
            0,
        ),
        _ => (
            Needs::Word,
            "with scrap steel at heat, end the service in order, look at the furnace, and start the service again",
            "the heat is off from the end of the service on, and stays off until somebody answers",
            0,
        ),
    };
    Guide { needs, trips, undoes, half_ms: hours * 60 * MINUTE_MS }
}

#[cfg(test)]
mod tests {
    use super::*;

    const YEAR: Duration = Duration::from_secs(365 * 86_400);

    #[test]
    fn a_test_is_owed_when_there_is_none_it_failed_or_it_is_too_old() {
        let mut proofs = Proofs::new();
        assert!(proofs.owes(InterlockKind::DoorOpen, YEAR));
        proofs.keep(InterlockKind::DoorOpen, true, Evidence::Measured, 7);
        proofs.pass(365 * DAY_MS);
        assert!(!proofs.owes(InterlockKind::DoorOpen, YEAR) && proofs.owes(InterlockKind::Stop, YEAR));
        proofs.pass(1);
        assert!(proofs.owes(InterlockKind::DoorOpen, YEAR));
        proofs.keep(InterlockKind::DoorOpen, false, Evidence::Confirmed, 8);
        assert!(proofs.owes(InterlockKind::DoorOpen, YEAR));
    }

    #[test]
    fn it_is_looked_once_a_day_after_a_reminder_and_once_an_hour_otherwise() {
        let mut proofs = Proofs::new();
        assert!(!proofs.pass(DAY_MS - 1) && proofs.pass(1));
        proofs.looked(true);
        assert!(!proofs.pass(DAY_MS - 1) && proofs.pass(1));
        proofs.looked(false);
        assert!(!proofs.pass(HOUR_MS - 1) && proofs.pass(1));
    }
}
