//! What people ask that they had better not: stops, resets of everything, skips, answers to what was not asked.

use std::time::Duration;

use hearthward_equipment::{FurnaceId, PointId, Value};
use hearthward_supervise::alarm::{AlarmAsk, AlarmKey, AlarmKind, AlarmSource};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::request::{Choice, QuestionId, Request};

use crate::chance::Chance;
use crate::people::Floor;
use crate::script::{Fault, Kind};

/// Adds what people ask in this second because of the faults that began in it, and of those that last.
pub(crate) fn ask(begins: &[Fault], floor: &Floor<'_>, seed: u64, asks: &mut Vec<Request>) {
    for fault in begins {
        let furnace = FurnaceId(fault.place as u16);
        match fault.kind {
            Kind::PersonStops => asks.push(Request::Stop { furnace: Some(furnace).filter(|_| fault.size < 0.7) }),
            Kind::PersonAborts => asks.push(Request::Abort { furnace }),
            Kind::PersonSkips => asks.push(Request::Skip { furnace, reason: "it is late".to_owned() }),
            Kind::PersonHolds => asks.push(Request::Hold { furnace }),
            Kind::PersonBypasses => asks.push(bypass(fault, seed)),
            Kind::PersonRestores => asks.push(Request::Restore { furnace, interlock: any_interlock(fault, seed) }),
            Kind::PersonTests if fault.size > 0.8 => {
                let (passed, how) = (fault.size > 0.85, "the ammeter fell to none".to_owned());
                asks.push(Request::Attest { furnace, interlock: tested(fault, seed), passed, how, wall_ms: 0 });
            }
            Kind::PersonTests => asks.push(Request::Prove { furnace, interlock: tested(fault, seed), wall_ms: 0 }),
            Kind::PersonProves => asks.push(Request::Prove { furnace, interlock: any_interlock(fault, seed), wall_ms: 0 }),
            _ => {}
        }
    }
    for fault in floor.faults.iter().flatten() {
        let furnace = FurnaceId(fault.place as u16);
        match fault.kind {
            Kind::PersonResets => {
                asks.push(Request::Reset { furnace: Some(furnace).filter(|_| fault.size < 0.8), interlock: None });
            }
            Kind::PersonHolds if floor.second + 1 == fault.at_s + fault.for_s => asks.push(Request::Resume { furnace }),
            Kind::PersonResetsRoom => {
                asks.push(Request::Reset { furnace: Some(furnace), interlock: Some(InterlockKind::RoomOxygen) });
            }
            Kind::PersonTests if fault.size < 0.3 && floor.second + 1 == fault.at_s + fault.for_s => {
                asks.push(Request::CallOff { furnace, interlock: tested(fault, seed) });
            }
            Kind::PersonErrs => asks.push(err(fault, floor, seed)),
            Kind::PersonMeddles if floor.second.is_multiple_of(5) => asks.push(meddle(fault, floor, seed)),
            _ => {}
        }
    }
}

/// A bypass of anything, for minutes, sometimes without a reason or an end.
fn bypass(fault: &Fault, seed: u64) -> Request {
    let mut chance = Chance::of(seed, &[61, fault.place as u64, u64::from(fault.at_s)]);
    let span = match chance.below(10) {
        0 => None,
        1 => Some(Duration::MAX),
        2 => Some(Duration::ZERO),
        _ => Some(Duration::from_secs(chance.from_to(10, 900))),
    };
    let reason = if chance.happens(0.1) { " " } else { "the meter is at the maker's" }.to_owned();
    Request::Bypass { furnace: FurnaceId(fault.place as u16), interlock: any_interlock(fault, seed), reason, span }
}

fn any_interlock(fault: &Fault, seed: u64) -> InterlockKind {
    let mut chance = Chance::of(seed, &[62, fault.place as u64, u64::from(fault.at_s)]);
    let likely = [InterlockKind::DriverLost, InterlockKind::RunTimeLimit, InterlockKind::ShopRule, InterlockKind::PurgeFlow];
    if chance.happens(0.6) { chance.pick(&likely) } else { chance.pick(&InterlockKind::ALL) }
}

/// What a person tests: mostly what can be tested with a load in.
fn tested(fault: &Fault, seed: u64) -> InterlockKind {
    let mut chance = Chance::of(seed, &[64, fault.place as u64, u64::from(fault.at_s)]);
    let loaded = [
        InterlockKind::PurgeBeforeHeat,
        InterlockKind::OpeningAtHeat,
        InterlockKind::PurgeFlow,
        InterlockKind::QuenchReadiness,
        InterlockKind::OneTankOneLoad,
        InterlockKind::SharedSupply,
        InterlockKind::SharedElectrical,
    ];
    if chance.happens(0.7) { chance.pick(&loaded) } else { chance.pick(&InterlockKind::ALL) }
}

/// Something about an alarm: mostly one that is shown, sometimes one that may not be put aside, or without a reason.
fn meddle(fault: &Fault, floor: &Floor<'_>, seed: u64) -> Request {
    let mut chance = Chance::of(seed, &[63, fault.place as u64, u64::from(floor.second)]);
    let shown = &floor.view.alarms.shown;
    let any = AlarmKey {
        source: AlarmSource::Furnace(FurnaceId(fault.place as u16)),
        kind: AlarmKind::Interlock(any_interlock(fault, seed)),
    };
    let alarm = match shown.len() {
        0 => any,
        _ if chance.happens(0.1) => any,
        count => shown[chance.below(count as u64) as usize].key,
    };
    let reason = if chance.happens(0.1) { "" } else { "its switch is on order" }.to_owned();
    let ask = match chance.below(10) {
        0..3 => AlarmAsk::Acknowledge { alarm: Some(alarm).filter(|_| chance.happens(0.7)) },
        3..6 => AlarmAsk::Shelve { alarm, reason, span_ms: chance.from_to(0, 900_000) },
        6 => AlarmAsk::Unshelve { alarm },
        7 => AlarmAsk::TakeOut { alarm, reason },
        8 => AlarmAsk::PutBack { alarm },
        _ => AlarmAsk::Silence,
    };
    Request::Alarm(ask)
}

/// Something that makes no sense now.
fn err(fault: &Fault, floor: &Floor<'_>, seed: u64) -> Request {
    let mut chance = Chance::of(seed, &[60, fault.place as u64, u64::from(floor.second)]);
    let open = &floor.view.questions;
    let question = match open.len() {
        0 => QuestionId(chance.below(50)),
        count => open[chance.below(count as u64) as usize].id,
    };
    let furnace = FurnaceId(fault.place as u16);
    match chance.below(6) {
        0 => Request::Choose {
            question,
            choice: chance.pick(&[Choice::GoOn, Choice::RestartStep, Choice::Steel(SteelChoice::QuenchNow), Choice::End]),
        },
        1 => Request::Enter { point: PointId(chance.below(60) as u16), value: Value::Number(chance.between(-1e9, 1e9)) },
        2 => Request::Resume { furnace },
        3 => Request::Skip { furnace, reason: String::new() },
        4 => Request::Start {
            furnace,
            load: crate::loads::load(seed, floor.plan, fault.place, chance.below(1000)),
            ready_in: None,
        },
        _ => Request::Confirm { question, reading: None },
    }
}
