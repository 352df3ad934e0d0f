//! What people are told: every trip that concerns them has its alarm, which waits for a person, and no person makes it go away.

use std::collections::BTreeMap;

use hearthward_equipment::FurnaceId;
use hearthward_supervise::Away;
use hearthward_supervise::alarm::{AlarmAsk, AlarmKey, AlarmKind, AlarmSource, AlarmState, alarm_names};
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::Request;
use hearthward_supervise::view::InterlockState;

use super::{Found, Moment, Oracle, must};

/// Interlocks that cut, and for how many seconds each may stand before it is told unless the shop says otherwise. An open door that
/// nobody is surprised by is told of by its latch, so that only that counts here; what is latched is told at once.
const TOLD: [(InterlockKind, Option<u64>); 8] = [
    (InterlockKind::DoorOpen, None),
    (InterlockKind::OverTemperature, Some(0)),
    (InterlockKind::SensorFault, Some(0)),
    (InterlockKind::DriverLost, Some(5)),
    (InterlockKind::RunTimeLimit, Some(0)),
    (InterlockKind::Stop, Some(0)),
    (InterlockKind::Interrupted, None),
    (InterlockKind::ShopRule, Some(0)),
];
/// What warns of the air and of heat that cannot be taken away is never put aside.
const NEVER_ASIDE: [AlarmKind; 5] = [
    AlarmKind::RoomOxygenDangerous,
    AlarmKind::RoomOxygenLow,
    AlarmKind::RoomMonitorLost,
    AlarmKind::CutUnconfirmed,
    AlarmKind::BathNearFlash,
];

/// The judge's books of all alarms.
#[derive(Clone, Debug)]
pub(super) struct Alarms {
    keys: BTreeMap<String, AlarmKey>,
    /// Those that are not normal, and how much of its time on the shelf each has left.
    told: BTreeMap<AlarmKey, (AlarmState, Option<u64>)>,
    /// For how long each row of [`TOLD`] stood, by furnace, while a load ran: counted from the second tick.
    stood_ms: Vec<[Option<u64>; TOLD.len()]>,
}

impl Alarms {
    pub(super) fn new(plan: &ShopPlan) -> Self {
        let keys = alarm_names(plan).map(|(key, name)| (name, key)).collect();
        Self { keys, told: BTreeMap::new(), stood_ms: vec![[None; TOLD.len()]; plan.furnaces.len()] }
    }

    /// Time on the shelf passes.
    pub(super) fn pass(&mut self, span_ms: u64) {
        let left = self.told.values_mut().filter_map(|(_, left_ms)| left_ms.as_mut());
        left.for_each(|left_ms| *left_ms = left_ms.saturating_sub(span_ms));
    }

    pub(super) fn restarted(&mut self, away: Away) {
        self.pass(if let Away::Known(span) = away { span.0 } else { u64::MAX });
        self.stood_ms.fill([None; TOLD.len()]);
    }

    /// An alarm is in another state: by its cause, or by a person who asked for just that.
    pub(super) fn note(&mut self, event: &Event, plan: &ShopPlan, asked: &[Request]) -> Found {
        let EventBody::Alarm { alarm, state, reason, shelved_ms, .. } = &event.body else { return Ok(()) };
        let key = *self.keys.get(alarm).ok_or("an alarm that the shop does not have")?;
        let known = self.told.get(&key).copied();
        let (was, left_ms) = known.unwrap_or((AlarmState::Normal, None));
        let asks = |is: &dyn Fn(&AlarmAsk) -> bool| {
            event.person.is_some() && asked.iter().any(|ask| matches!(ask, Request::Alarm(ask) if is(ask)))
        };
        match (was, *state) {
            (_, AlarmState::Shelved) => {
                let shelves = |ask: &AlarmAsk| matches!(ask, AlarmAsk::Shelve { alarm, span_ms, .. } if *alarm == key && Some(*span_ms) == *shelved_ms);
                must(asks(&shelves) && !reason.trim().is_empty(), || "shelved and nobody asked, or nobody said why".to_owned())?;
                let most_ms = plan.alarms.shelve_at_most.as_millis() as u64;
                let ends = shelved_ms.is_some_and(|span_ms| span_ms > 0 && span_ms <= left_ms.unwrap_or(most_ms).min(most_ms));
                must(ends && was != AlarmState::OutOfService, || format!("shelved for {shelved_ms:?} ms"))?;
            }
            (_, AlarmState::OutOfService) => {
                let takes = |ask: &AlarmAsk| matches!(ask, AlarmAsk::TakeOut { alarm, .. } if *alarm == key);
                must(asks(&takes) && !reason.trim().is_empty(), || "taken out and nobody asked, or nobody said why".to_owned())?;
            }
            (AlarmState::Shelved, _) => {
                let brings = |ask: &AlarmAsk| matches!(ask, AlarmAsk::Unshelve { alarm } if *alarm == key);
                must(left_ms == Some(0) || asks(&brings), || format!("back from the shelf {left_ms:?} ms early"))?;
            }
            (AlarmState::OutOfService, _) => {
                let brings = |ask: &AlarmAsk| matches!(ask, AlarmAsk::PutBack { alarm } if *alarm == key);
                must(asks(&brings), || "back in service and nobody asked".to_owned())?;
            }
            _ if was == *state => return Err("invariant 7: the same alarm told twice".to_owned()),
            _ if waits(was) && !waits(*state) => {
                let knows = |ask: &AlarmAsk| matches!(ask, AlarmAsk::Acknowledge { alarm } if alarm.is_none_or(|of| of == key));
                must(asks(&knows), || "an alarm was acknowledged by nobody".to_owned())?;
            }
            _ => must(known.is_some() || waits(*state), || "an alarm that waits for nobody".to_owned())?,
        }
        must(!is_aside(*state) || !NEVER_ASIDE.contains(&key.kind), || "what warns people was put aside".to_owned())?;
        if *state == AlarmState::Normal {
            self.told.remove(&key);
        } else {
            self.told.insert(key, (*state, *shelved_ms));
        }
        Ok(())
    }

    /// Whether people are told, or a person has put it aside.
    fn stands(&self, source: AlarmSource, kind: AlarmKind) -> bool {
        let state = self.told.get(&AlarmKey { source, kind }).map(|(state, _)| *state);
        state.is_some_and(|state| state != AlarmState::ReturnedUnacknowledged)
    }
}

/// Nobody has said yet that they know.
fn waits(state: AlarmState) -> bool {
    matches!(state, AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged | AlarmState::LatchedUnacknowledged)
}

fn is_aside(state: AlarmState) -> bool {
    matches!(state, AlarmState::Shelved | AlarmState::OutOfService)
}

impl Oracle {
    /// Whatever cut heat and stands is told, the alarms shown are those that were told, and none outlives its time on the shelf.
    pub(super) fn check_alarms(&mut self, moment: &Moment<'_>) -> Found {
        let plan = std::sync::Arc::clone(&self.plan);
        for (place, seen) in moment.view.furnaces.iter().enumerate() {
            let source = AlarmSource::Furnace(FurnaceId(place as u16));
            for (slot, (kind, delay_s)) in TOLD.into_iter().enumerate() {
                let tripped = seen.interlocks.iter().any(|row| row.kind == kind && row.state == InterlockState::Tripped);
                let stood = &mut self.alarms.stood_ms[place][slot];
                let before_ms = stood.map_or(0, |stood_ms| stood_ms + moment.dt_ms);
                *stood = (tripped && seen.cycle.is_some() && self.known[place].was_loaded).then_some(before_ms);
                let set = plan.alarms.delays.iter().find(|(of, _)| *of == AlarmKind::Interlock(kind));
                let delay_ms = set.map_or(delay_s.map(|delay_s| delay_s * 1000), |(_, set)| Some(set.on.as_millis() as u64));
                let due = delay_s.is_some() && stood.zip(delay_ms).is_some_and(|(stood_ms, delay_ms)| stood_ms >= delay_ms);
                let latched = self.known[place].latched.has(kind);
                must(!(due || latched) || self.alarms.stands(source, AlarmKind::Interlock(kind)), || {
                    format!("{kind:?} of {} stands and people are not told", plan.furnaces[place].name)
                })?;
            }
            self.known[place].was_loaded = seen.cycle.is_some();
        }
        must(!self.room.danger || self.alarms.stands(AlarmSource::Shop, AlarmKind::RoomOxygenDangerous), || {
            "the room is dangerous and people are not told".to_owned()
        })?;
        let shown = &moment.view.alarms.shown;
        must(shown.len() == self.alarms.told.len(), || "invariant 7: an alarm came or went untold".to_owned())?;
        for seen in shown {
            let told = self.alarms.told.get(&seen.key).copied();
            let is = (seen.state, seen.aside.as_ref().and_then(|aside| aside.left_ms));
            must(told == Some(is), || format!("invariant 7: {} is shown {is:?}, by the judge {told:?}", seen.name))?;
            must(is.1 != Some(0), || format!("{} is past its time on the shelf", seen.name))?;
        }
        Ok(())
    }
}
