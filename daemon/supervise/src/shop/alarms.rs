//! Alarms in a tick: how the cause of each stands, what is said of a change, and what people ask about them.

use hearthward_equipment::UnitId;
use uom::si::ratio::ratio;

use super::people::{Outcomes, by};
use super::{Shop, say};
use crate::alarm::{
    AlarmAsk, AlarmKey, AlarmKind, AlarmSource, AlarmState, Aside, Condition, Flood, OF_FURNACE, OF_SHOP, Tick, alarm_entry,
};
use crate::event::{Event, EventBody, Priority};
use crate::facts::{Room, Unit};
use crate::furnace::Furnace;
use crate::interlock::InterlockKind;
use crate::output::Outputs;
use crate::recipe::StepKind;
use crate::request::Person;
use crate::view::{AlarmView, AlarmsView, InterlockState};

impl Shop {
    /// Lets time pass on the shelf, before anybody puts another alarm there, and brings back those whose time is over.
    pub(super) fn pass_shelves(&mut self, dt_ms: u64, out: &mut Outputs) {
        if !self.alarms.pass(dt_ms) {
            return;
        }
        while let Some(key) = self.alarms.expired(self.now) {
            self.say_alarm(key, "Its time on the shelf is over.", None, out);
        }
    }

    /// Lets every alarm hear of its cause, and says what changed. The order of causes is that of the alarms.
    pub(super) fn tell_alarms(&mut self, dt_ms: u64, out: &mut Outputs) {
        let mut at = 0;
        for place in 0..self.furnaces.len() {
            for kind in OF_FURNACE {
                let is = self.furnaces.get(place).map_or(Condition::Clear, |furnace| of_furnace(furnace, kind));
                let latched = self.furnaces.get(place).is_some_and(|furnace| is_latched(furnace, kind));
                self.hear(at, dt_ms, (is, latched), out);
                at += 1;
            }
        }
        for place in 0..self.tanks.len() {
            let is = self.tanks.get(place).map_or(Condition::Clear, |tank| match (tank.too_hot, tank.latched) {
                (true, _) => Condition::Active,
                (false, true) => Condition::Latched,
                (false, false) => Condition::Clear,
            });
            self.hear(at, dt_ms, (is, false), out);
            at += 1;
        }
        for place in 0..self.units.len() {
            let silent = self.units.get(place).is_some_and(|unit| *unit != Unit::Answering);
            let lost = silent || u16::try_from(place).is_ok_and(|id| self.wires.fails(UnitId(id)));
            self.hear(at, dt_ms, (when(lost), false), out);
            at += 1;
        }
        for kind in OF_SHOP {
            let is = self.of_shop(kind, at);
            self.hear(at, dt_ms, (is, false), out);
            at += 1;
        }
        self.say_flood(out);
    }

    fn hear(&mut self, at: usize, dt_ms: u64, (is, latched): (Condition, bool), out: &mut Outputs) {
        let tick = Tick { now: self.now, dt_ms, latched, plan: &self.plan.alarms };
        if let Some(key) = self.alarms.hear(at, tick, is) {
            self.say_alarm(key, alarm_entry(key.kind).act, None, out);
        }
    }

    fn of_shop(&self, kind: AlarmKind, at: usize) -> Condition {
        match kind {
            AlarmKind::RoomOxygenDangerous if self.room.is == Room::Danger => Condition::Active,
            AlarmKind::RoomOxygenDangerous if self.room.latched => Condition::Latched,
            AlarmKind::RoomOxygenLow => {
                let told = matches!(self.alarms.state_at(at), AlarmState::Unacknowledged | AlarmState::Acknowledged);
                let room = &self.plan.room;
                let oxygen = self.points.sample(room.oxygen, self.now, room.stale_after).or_nan();
                // Above the level it stays told until it is clear of the dead band; a monitor that fails says nothing of the air.
                let near = told && !(oxygen >= (room.first_level + self.plan.alarms.room_dead_band).get::<ratio>());
                when(room.oxygen.is_some() && (matches!(self.room.is, Room::Low | Room::Danger) || near))
            }
            AlarmKind::RoomMonitorLost => when(self.room.is == Room::Unknown),
            AlarmKind::RecordFailing => when(self.record_failing.is_some()),
            _ => Condition::Clear,
        }
    }

    fn say_flood(&mut self, out: &mut Outputs) {
        let Some(flood) = self.alarms.count(self.now) else { return };
        let raised = u32::try_from(self.alarms.raised()).unwrap_or(u32::MAX);
        let (priority, text) = match flood {
            Flood::Begins => (
                Priority::Warning,
                format!("{raised} alarms came in ten minutes, more than a person can follow: look at the first of each group."),
            ),
            Flood::Ends => (Priority::Record, format!("Alarms come slower again: {raised} in ten minutes.")),
        };
        say(&mut out.events, priority, text, EventBody::AlarmFlood { flood: flood == Flood::Begins, raised });
    }

    /// Says how an alarm stands now. `more` says what to do, or why.
    fn say_alarm(&self, key: AlarmKey, more: &str, person: Option<&Person>, out: &mut Outputs) {
        let Some(alarm) = self.alarms.get(key) else { return };
        let entry = alarm_entry(key.kind);
        let (state, place, title) = (alarm.state(), key.place(&self.plan), entry.title.to_lowercase());
        let (priority, text) = match state {
            AlarmState::Unacknowledged | AlarmState::LatchedUnacknowledged => {
                (entry.priority, format!("Alarm of {place}: {title}. {more}"))
            }
            AlarmState::Shelved | AlarmState::OutOfService => {
                (Priority::Notice, format!("The alarm of {place}, {title}, is {}: {more}", state.words()))
            }
            AlarmState::Normal => (Priority::Record, format!("The alarm of {place}, {title}, is over.")),
            _ => (Priority::Record, format!("The alarm of {place}, {title}, is {}.", state.words())),
        };
        let furnace = if let AlarmSource::Furnace(id) = key.source { Some(id) } else { None };
        let aside = alarm.aside();
        let body = EventBody::Alarm {
            alarm: key.name(&self.plan),
            state,
            first: alarm.is_first(),
            reason: aside.map(|aside| aside.reason.clone()).unwrap_or_default(),
            shelved_ms: aside.and_then(|aside| aside.left_ms),
        };
        out.events.push(Event { furnace, priority, person: person.map(|person| person.name.clone()), text, body });
    }

    /// Does what a person asks about alarms. None of it touches an interlock.
    pub(super) fn about_alarm(&mut self, person: &Person, ask: AlarmAsk, out: &mut Outputs) -> Outcomes {
        match ask {
            AlarmAsk::Acknowledge { alarm } => self.acknowledge(person, alarm, out),
            AlarmAsk::Shelve { alarm, reason, span_ms } => self.put_aside(person, alarm, reason, Some(span_ms), out),
            AlarmAsk::TakeOut { alarm, reason } => self.put_aside(person, alarm, reason, None, out),
            AlarmAsk::Unshelve { alarm } => self.bring_back(person, alarm, AlarmState::Shelved, out),
            AlarmAsk::PutBack { alarm } => self.bring_back(person, alarm, AlarmState::OutOfService, out),
            AlarmAsk::Silence => {
                if !self.alarms.silence() {
                    return Err("No alarm sounds the horn.".to_owned());
                }
                let text = format!("{} silenced the horn; the alarms stay unacknowledged.", person.name);
                out.events.push(by(person, None, Priority::Record, text, EventBody::HornSilenced));
                Ok("The horn is silent until the next urgent alarm. Acknowledge the alarms when you know what they are."
                    .to_owned())
            }
        }
    }

    fn acknowledge(&mut self, person: &Person, alarm: Option<AlarmKey>, out: &mut Outputs) -> Outcomes {
        let keys: Vec<AlarmKey> = match alarm {
            Some(key) => vec![self.known(key)?],
            None => self.alarms.shown().filter(|(_, alarm)| alarm.state().is_unacknowledged()).map(|(key, _)| key).collect(),
        };
        let mut done = 0_u32;
        for key in keys {
            if self.alarms.acknowledge(key, self.now).is_some() {
                done += 1;
                self.say_alarm(key, "", Some(person), out);
            }
        }
        match done {
            0 => Err("There is nothing to acknowledge.".to_owned()),
            1 => Ok("Acknowledged. It changes nothing at the furnace.".to_owned()),
            _ => Ok(format!("{done} alarms are acknowledged. It changes nothing at the furnaces.")),
        }
    }

    fn put_aside(&mut self, person: &Person, key: AlarmKey, reason: String, left_ms: Option<u64>, out: &mut Outputs) -> Outcomes {
        let name = self.known(key)?.name(&self.plan);
        if reason.trim().is_empty() {
            return Err("Say why the alarm is put aside: it goes on record.".to_owned());
        }
        if !alarm_entry(key.kind).may_go_aside {
            return Err(format!("{name} warns of danger to people and cannot be put aside: acknowledge it, and mend its cause."));
        }
        let most_ms = u64::try_from(self.plan.alarms.shelve_at_most.as_millis()).unwrap_or(u64::MAX);
        if left_ms.is_some_and(|left_ms| left_ms == 0 || left_ms > most_ms) {
            return Err(format!("An alarm may be shelved for up to {} min here.", most_ms / 60_000));
        }
        let aside = Aside { person: person.name.clone(), reason, left_ms };
        let said = aside.reason.clone();
        if self.alarms.put_aside(key, self.now, aside).is_none() {
            let how = self.alarms.get(key).map_or("unknown", |alarm| alarm.state().words());
            return Err(format!("{name} is {how} already; a shelved alarm may only come back sooner than it would."));
        }
        self.say_alarm(key, &said, Some(person), out);
        Ok(match left_ms {
            Some(left_ms) => format!("{name} is shelved for {} min. Its interlock acts as before.", left_ms.div_ceil(60_000)),
            None => format!("{name} is out of service until it is returned. Its interlock acts as before."),
        })
    }

    fn bring_back(&mut self, person: &Person, key: AlarmKey, from: AlarmState, out: &mut Outputs) -> Outcomes {
        let name = self.known(key)?.name(&self.plan);
        if self.alarms.get(key).is_none_or(|alarm| alarm.state() != from) {
            return Err(format!("{name} is not {}.", from.words()));
        }
        self.alarms.bring_back(key, self.now);
        self.say_alarm(key, alarm_entry(key.kind).act, Some(person), out);
        Ok(format!("{name} is told again."))
    }

    fn known(&self, key: AlarmKey) -> Result<AlarmKey, String> {
        self.alarms.get(key).map(|_| key).ok_or_else(|| "There is no such alarm.".to_owned())
    }

    /// Copies the alarms out; names and words only when something changed.
    pub(super) fn view_alarms(&self, into: &mut AlarmsView) {
        into.raised = u32::try_from(self.alarms.raised()).unwrap_or(u32::MAX);
        (into.flood, into.horn) = (self.alarms.is_flood(), self.alarms.sounds() && self.plan.alarms.horn.is_some());
        if into.revision != self.alarms.revision() {
            into.revision = self.alarms.revision();
            into.shown.clear();
            into.shown.extend(self.alarms.shown().map(|(key, alarm)| {
                let entry = alarm_entry(key.kind);
                AlarmView {
                    key,
                    name: key.name(&self.plan),
                    state: alarm.state(),
                    first: alarm.is_first(),
                    for_ms: 0,
                    text: format!("{}: {}. {}", key.place(&self.plan), entry.title, to_do(alarm.state(), entry.act)),
                    aside: alarm.aside().cloned(),
                }
            }));
        }
        for (view, (for_ms, left_ms)) in into.shown.iter_mut().zip(self.alarms.shown_spans_ms(self.now)) {
            view.for_ms = for_ms;
            if let Some(aside) = &mut view.aside {
                aside.left_ms = left_ms;
            }
        }
    }
}

/// What is to be done about an alarm; what its cause asked for is not owed any more once that is gone.
fn to_do(state: AlarmState, act: &'static str) -> &'static str {
    if state == AlarmState::ReturnedUnacknowledged { "It is over: acknowledge it." } else { act }
}

fn when(is: bool) -> Condition {
    if is { Condition::Active } else { Condition::Clear }
}

/// How the cause of a furnace's alarm stands. What its situation expects is no cause to tell anybody of.
fn of_furnace(furnace: &Furnace, kind: AlarmKind) -> Condition {
    let cycle = furnace.cycle.as_ref();
    match kind {
        AlarmKind::Interlock(kind) => of_row(furnace, kind),
        AlarmKind::TemperOverdue => when(cycle.is_some_and(|cycle| cycle.overdue && cycle.since_quench_ms.is_some())),
        AlarmKind::CutUnconfirmed => when(furnace.cuts.is_unconfirmed()),
        _ => Condition::Clear,
    }
}

/// The row waits for a reset, whether or not its cause still stands.
fn is_latched(furnace: &Furnace, kind: AlarmKind) -> bool {
    matches!(kind, AlarmKind::Interlock(kind) if furnace.rows.row(kind).is_latched())
}

fn of_row(furnace: &Furnace, kind: InterlockKind) -> Condition {
    let row = furnace.rows.row(kind);
    let is = match row.state() {
        InterlockState::Clear => return Condition::Clear,
        InterlockState::Tripped => Condition::Active,
        InterlockState::Latched => return Condition::Latched,
    };
    if row.is_latched() {
        return is;
    }
    let now = &furnace.situation;
    let tells = match kind {
        InterlockKind::DoorOpen => !now.opening_expected,
        InterlockKind::OpeningAtHeat => now.exposed,
        // Before the soak there is still time to warm the bath, and a person is asked to.
        InterlockKind::QuenchReadiness => furnace.cycle.as_ref().is_some_and(|cycle| cycle.kind() == StepKind::Soak),
        // Within a gap that may still be ridden through nothing is wrong yet.
        InterlockKind::Interrupted => false,
        _ => true,
    };
    // Without a load nobody heats, and there is nothing that could be spoilt.
    when(tells && now.running)
}
