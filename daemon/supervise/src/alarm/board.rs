//! All alarms of the shop: groups and their first, floods, horn and lamp.

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use hearthward_equipment::ShopMs;
use serde::{Deserialize, Serialize};

use super::{Alarm, AlarmKey, AlarmPlan, AlarmState, Aside, Condition, Heard, alarm_entry};
use crate::event::Priority;
use crate::plan::ShopPlan;

/// Ten alarms in ten minutes are a flood: more than a person can follow (EEMUA 191 and ISA-18.2 as read in public pages).
const FLOOD: usize = 10;
/// The span over which alarms are counted.
pub(crate) const WINDOW_MS: u64 = 600_000;
/// A flood is over below this many in the window (from memory).
const FLOOD_OVER: usize = 5;
/// Times that are kept for the count; a count beyond says nothing more to anybody.
const COUNTED: usize = 1024;

/// The alarms.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Alarms {
    slots: Vec<Slot>,
    /// When the latest alarms were raised, the oldest first.
    raised: VecDeque<ShopMs>,
    flood: bool,
    silenced: bool,
    /// Grows with every change, so that a view is made anew only then.
    revision: u64,
}

#[derive(Debug, Serialize, Deserialize)]
struct Slot {
    key: AlarmKey,
    alarm: Alarm,
    /// How long it was in its state before this run.
    before_ms: u64,
}

impl Slot {
    /// How long it has been in its state, in milliseconds; a time away that nobody knows counts as none.
    fn for_ms(&self, now: ShopMs) -> u64 {
        self.before_ms.saturating_add(now.0.saturating_sub(self.alarm.since().0))
    }
}

/// What an alarm needs to know of a tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tick<'a> {
    pub(crate) now: ShopMs,
    pub(crate) dt_ms: u64,
    /// A reset is owed: that is told at once, whether or not the cause still stands.
    pub(crate) latched: bool,
    pub(crate) plan: &'a AlarmPlan,
}

/// What changed in the counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flood {
    Begins,
    Ends,
}

/// What is kept across a restart: every alarm that is not normal.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct AlarmsStood {
    /// By name, so that another order of the plan finds them.
    alarms: Vec<(String, Alarm)>,
    silenced: bool,
}

impl Alarms {
    /// The alarms of a shop, all of them normal.
    pub(crate) fn new(plan: &ShopPlan) -> Self {
        let slots = AlarmKey::all(plan).map(|key| Slot { key, alarm: Alarm::default(), before_ms: 0 });
        Self { slots: slots.collect(), raised: VecDeque::with_capacity(COUNTED), flood: false, silenced: false, revision: 1 }
    }

    /// Takes how the cause of the alarm at this place stands. Gives its key, if its state changed.
    pub(crate) fn hear(&mut self, at: usize, tick: Tick<'_>, is: Condition) -> Option<AlarmKey> {
        let slot = self.slots.get_mut(at)?;
        let fresh = slot.alarm.is_quiet();
        if is == Condition::Clear && fresh {
            return None;
        }
        let key = slot.key;
        let mut delays = tick.plan.delays(key.kind);
        if tick.latched {
            delays.on = Duration::ZERO;
        }
        let heard = slot.alarm.hear(tick.now, tick.dt_ms, is, delays);
        if fresh && heard != Heard::Same && self.is_alone(at) {
            self.slots[at].alarm.mark_first();
        }
        let Heard::Changed(was) = heard else { return None };
        self.changed(at, tick.now, was);
        Some(key)
    }

    /// Nothing else of its group is told or about to be.
    fn is_alone(&self, at: usize) -> bool {
        let Some(source) = self.slots.get(at).map(|slot| slot.key.source) else { return false };
        let same = |slot: &&Slot| slot.key.source == source;
        let before = self.slots[..at].iter().rev().take_while(same);
        let after = self.slots[at + 1..].iter().take_while(same);
        !before.chain(after).any(|slot| slot.alarm.is_about())
    }

    /// A state changed: counts it, and lets the horn sound again for what is new and urgent.
    fn changed(&mut self, at: usize, now: ShopMs, was: AlarmState) {
        self.revision += 1;
        let Some(slot) = self.slots.get_mut(at) else { return };
        let is = slot.alarm.state();
        if is != was {
            slot.before_ms = 0;
        }
        let raises = |state| matches!(state, AlarmState::Unacknowledged | AlarmState::LatchedUnacknowledged);
        if !raises(is) || raises(was) {
            return;
        }
        self.silenced &= alarm_entry(slot.key.kind).priority != Priority::Urgent;
        if self.raised.len() == COUNTED {
            self.raised.pop_front();
        }
        self.raised.push_back(now);
    }

    /// Counts the alarms of the last ten minutes.
    pub(crate) fn count(&mut self, now: ShopMs) -> Option<Flood> {
        while self.raised.front().is_some_and(|at| now.0.saturating_sub(at.0) >= WINDOW_MS) {
            self.raised.pop_front();
        }
        let (was, count) = (self.flood, self.raised.len());
        self.flood = if was { count >= FLOOD_OVER } else { count >= FLOOD };
        match (was, self.flood) {
            (false, true) => Some(Flood::Begins),
            (true, false) => Some(Flood::Ends),
            _ => None,
        }
    }

    /// Lets the time of shelved alarms pass. Gives the next whose time is over, brought back.
    pub(crate) fn expired(&mut self, now: ShopMs) -> Option<AlarmKey> {
        let over = |slot: &Slot| slot.alarm.aside().is_some_and(|aside| aside.left_ms == Some(0));
        let at = self.slots.iter().position(over)?;
        let slot = self.slots.get_mut(at)?;
        let key = slot.key;
        let was = slot.alarm.bring_back(now)?;
        self.changed(at, now, was);
        Some(key)
    }

    /// Lets time pass for what is shelved.
    pub(crate) fn pass(&mut self, dt_ms: u64) -> bool {
        let mut over = false;
        for slot in &mut self.slots {
            over |= slot.alarm.pass(dt_ms);
        }
        over
    }

    /// A person says that they know. Gives the state before.
    pub(crate) fn acknowledge(&mut self, key: AlarmKey, now: ShopMs) -> Option<AlarmState> {
        self.change(key, now, |alarm| alarm.acknowledge(now))
    }

    /// A person puts it aside: for a time, or until it is mended.
    pub(crate) fn put_aside(&mut self, key: AlarmKey, now: ShopMs, aside: Aside) -> Option<AlarmState> {
        self.change(key, now, |alarm| match aside.left_ms {
            Some(_) => alarm.shelve(now, aside),
            None => alarm.take_out(now, aside),
        })
    }

    /// A person brings it back.
    pub(crate) fn bring_back(&mut self, key: AlarmKey, now: ShopMs) -> Option<AlarmState> {
        self.change(key, now, |alarm| alarm.bring_back(now))
    }

    fn change(&mut self, key: AlarmKey, now: ShopMs, by: impl FnOnce(&mut Alarm) -> Option<AlarmState>) -> Option<AlarmState> {
        let at = self.slots.iter().position(|slot| slot.key == key)?;
        let was = by(&mut self.slots.get_mut(at)?.alarm)?;
        self.changed(at, now, was);
        Some(was)
    }

    /// The alarm of this key.
    pub(crate) fn get(&self, key: AlarmKey) -> Option<&Alarm> {
        self.slots.iter().find(|slot| slot.key == key).map(|slot| &slot.alarm)
    }

    /// The state of the alarm at this place.
    pub(crate) fn state_at(&self, at: usize) -> AlarmState {
        self.slots.get(at).map_or(AlarmState::Normal, |slot| slot.alarm.state())
    }

    /// Every alarm that is not normal.
    pub(crate) fn shown(&self) -> impl Iterator<Item = (AlarmKey, &Alarm)> {
        self.not_normal().map(|slot| (slot.key, &slot.alarm))
    }

    /// What changes without an event of each of them: for how long it has been in its state, and for how much longer it is put aside, in
    /// milliseconds.
    pub(crate) fn shown_spans_ms(&self, now: ShopMs) -> impl Iterator<Item = (u64, Option<u64>)> {
        self.not_normal().map(move |slot| (slot.for_ms(now), slot.alarm.aside().and_then(|aside| aside.left_ms)))
    }

    fn not_normal(&self) -> impl Iterator<Item = &Slot> {
        self.slots.iter().filter(|slot| slot.alarm.state() != AlarmState::Normal)
    }

    /// The horn shall sound: something urgent that nobody has acknowledged, and nobody has silenced it.
    pub(crate) fn sounds(&self) -> bool {
        let calls = |(key, alarm): (AlarmKey, &Alarm)| {
            alarm.state().is_unacknowledged() && alarm_entry(key.kind).priority == Priority::Urgent
        };
        !self.silenced && self.shown().any(calls)
    }

    /// The lamp shall be on: something stands.
    pub(crate) fn stands(&self) -> bool {
        self.slots.iter().any(|slot| slot.alarm.state().stands())
    }

    /// Stops the horn until the next urgent alarm. Says whether it sounded.
    pub(crate) fn silence(&mut self) -> bool {
        let sounded = self.sounds();
        self.silenced |= sounded;
        self.revision += u64::from(sounded);
        sounded
    }

    /// How many were raised in the last ten minutes.
    pub(crate) fn raised(&self) -> usize {
        self.raised.len()
    }

    /// Whether there are more than a person can follow.
    pub(crate) fn is_flood(&self) -> bool {
        self.flood
    }

    /// Grows with every change.
    pub(crate) fn revision(&self) -> u64 {
        self.revision
    }

    /// What is kept across a restart.
    pub(crate) fn stood(&self, plan: &ShopPlan, now: ShopMs) -> AlarmsStood {
        let kept = self.not_normal().map(|slot| {
            let mut alarm = slot.alarm.clone();
            alarm.begin_again(ShopMs(slot.for_ms(now)), Some(0));
            (slot.key.name(plan), alarm)
        });
        AlarmsStood { alarms: kept.collect(), silenced: self.silenced }
    }

    /// Goes on from an earlier run: alarms whose source is gone are gone too.
    pub(crate) fn restore(&mut self, plan: &ShopPlan, now: ShopMs, stood: AlarmsStood, away_ms: Option<u64>) {
        let mut stood_by_name: BTreeMap<String, Alarm> = stood.alarms.into_iter().collect();
        for slot in &mut self.slots {
            // Most shops stood quiet, and naming thousands of alarms for nothing is slow.
            let Some(mut alarm) = (!stood_by_name.is_empty()).then(|| stood_by_name.remove(&slot.key.name(plan))).flatten()
            else {
                continue;
            };
            slot.before_ms = alarm.since().0.saturating_add(away_ms.unwrap_or(0));
            alarm.begin_again(now, away_ms);
            slot.alarm = alarm;
        }
        self.silenced = stood.silenced;
        self.revision += 1;
    }

    /// Takes over what is counted in this run, when only the plan changed.
    pub(crate) fn take_over(&mut self, old: Self) {
        (self.raised, self.flood, self.revision) = (old.raised, old.flood, old.revision + 1);
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> impl Iterator<Item = u64> + '_ {
        let told = self.slots.iter().enumerate().filter(|(_, slot)| !slot.alarm.is_quiet());
        let whole = self.raised.len() as u64 | u64::from(self.flood) << 32 | u64::from(self.silenced) << 33;
        std::iter::once(whole).chain(told.flat_map(|(at, slot)| [at as u64, slot.alarm.bits()]))
    }
}
