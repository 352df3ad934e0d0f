//! What a tick begins with: news of units, cuts and the record, and what the readings say now.

use hearthward_equipment::PointId;
use uom::si::f64::Ratio;
use uom::si::ratio::ratio;

use super::{Ending, Shop, say};
use crate::cycle::watch_door;
use crate::event::{EventBody, Priority};
use crate::facts::{Facts, Room, Unit};
use crate::gas::{hot_c, most_believed};
use crate::observe::UnitState;
use crate::output::Outputs;
use crate::points::{Sample, Told};
use crate::questions::Purpose;

impl Shop {
    /// What the host and the journal told since the last tick.
    pub(super) fn take_news(&mut self, out: &mut Outputs) {
        for (unit, is) in self.inbox.units.drain(..) {
            let (now, state, detail) = match is {
                UnitState::Answering => (Unit::Answering, "answering", String::new()),
                UnitState::Silent(fault) => (Unit::Silent, "silent", fault.detail),
                UnitState::OutOfService(fault) => (Unit::OutOfService, "out_of_service", fault.detail),
            };
            let (Some(known), Some(address)) = (self.units.get_mut(unit.index()), self.plan.directory.unit_address(unit)) else {
                continue;
            };
            if now == Unit::Answering {
                self.wires.answers(unit, self.now);
            }
            if std::mem::replace(known, now) == now {
                continue;
            }
            let (priority, text) = match now {
                Unit::Answering => (Priority::Record, format!("{address} answers.")),
                Unit::Silent => (Priority::Notice, format!("{address} does not answer: {detail}.")),
                Unit::OutOfService => (Priority::Warning, format!("{address} is out of service: {detail}.")),
            };
            say(&mut out.events, priority, text, EventBody::Unit { unit, state: state.to_owned(), detail });
        }
        for (id, generation, via, is) in self.inbox.cuts.drain(..) {
            if let Some(furnace) = self.furnaces.get_mut(id.index()) {
                furnace.cuts.told(generation, via, &is);
            }
        }
        for failing in self.inbox.record.drain(..) {
            if failing.is_some() != self.record_failing.is_some() {
                let text = match &failing {
                    Some(why) => format!("The record cannot be written ({why}): nothing more is permitted until it can."),
                    None => "The record can be written again.".to_owned(),
                };
                let priority = if failing.is_some() { Priority::Urgent } else { Priority::Notice };
                say(&mut out.events, priority, text, EventBody::Record { failing: failing.is_some() });
            }
            self.record_failing = failing;
        }
        if self.ending == Ending::Told {
            self.ending = Ending::Said;
            let text = "The service ends: heat is taken away, gas stays as it is. Watch hot loads by hand.".to_owned();
            say(&mut out.events, Priority::Warning, text, EventBody::Ending);
        }
    }

    /// Sorts what the points show by furnace, tank and room.
    pub(super) fn read(&mut self, dt_ms: u64) {
        let (now, dt_s) = (self.now, dt_ms as f64 / 1000.0);
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let unit = plan.controller.and_then(|unit| self.units.get(unit.index()).copied()).unwrap_or_default();
            let most = plan.gas.as_ref().map_or(f64::INFINITY, |gas| most_believed(&self.plan, gas));
            furnace.facts = Facts::read(plan, &self.points, now, dt_s, unit).doubting_flows_above(most);
            furnace.read_by_eye(plan, &self.points);
            if let Some(cycle) = &mut furnace.cycle
                && cycle.pulls()
                && self.questions.find(furnace.id, Purpose::PartUnder).is_some()
            {
                watch_door(cycle, furnace.facts.door, dt_ms);
            }
        }
        for (tank, plan) in self.tanks.iter_mut().zip(&self.plan.tanks) {
            tank.read(plan, &self.points, now);
        }
        let room = &self.plan.room;
        let oxygen = self.points.sample(room.oxygen, now, room.stale_after);
        let share = |limit: Ratio| limit.get::<ratio>();
        let under = oxygen.good().is_some_and(|oxygen| !(oxygen >= share(room.second_level)));
        // The first look under the level speaks for its own scan at most, however late its tick came.
        let seen_s = if self.room.under { dt_s } else { dt_s.min(self.plan.scan.as_secs_f64()) };
        self.room.under = under;
        self.room.under_s = if under { self.room.under_s + seen_s } else { 0.0 };
        let debounced = under && self.room.under_s >= room.debounce.as_secs_f64();
        self.room.is = match oxygen {
            _ if room.oxygen.is_none() => Room::Unwired,
            Sample::Good(_) if debounced => Room::Danger,
            Sample::Good(oxygen) if oxygen >= share(room.first_level) => Room::Fine,
            Sample::Good(_) => Room::Low,
            Sample::Bad | Sample::Stale | Sample::Never => Room::Unknown,
        };
        self.room.latched |= self.room.is == Room::Danger;
    }

    /// Keeps where each chamber is, once it is known whether its thermometer may be relied upon.
    pub(super) fn remember(&mut self) {
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let read_c = furnace.believed_c();
            furnace.last_c = read_c.or(furnace.last_c);
            if let (Some(cycle), Some(read_c)) = (&mut furnace.cycle, read_c) {
                // What spared it a purge was the heat that it went into; a chamber that is cold holds air again.
                cycle.charged_hot &= read_c > hot_c(plan);
            }
        }
    }

    /// Says which points cannot be relied upon any more, and which can again.
    pub(super) fn tell_quality(&mut self, out: &mut Outputs) {
        let now = self.now;
        for (place, point) in self.points.list_mut().iter_mut().enumerate() {
            let tells = point.tells(now);
            // What cannot be relied upon is told once: a unit that is off is bad at every attempt and grows old between two.
            if tells == point.told || (tells.is_useless() && point.told.is_useless()) {
                continue;
            }
            let told = std::mem::replace(&mut point.told, tells);
            if told == Told::Nothing && tells == Told::Good {
                continue;
            }
            let Ok(id) = u16::try_from(place) else { continue };
            let point = PointId(id);
            let Some(address) = self.plan.directory.point_address(point) else { continue };
            let text = format!("{address} is {}.", tells.word());
            say(&mut out.events, Priority::Record, text, EventBody::PointQuality { point, quality: tells.word().to_owned() });
        }
    }
}
