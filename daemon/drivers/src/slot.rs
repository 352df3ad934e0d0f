//! The latest order to heat of one furnace by one way: a new one takes the place of the old, a cut or the lease's end voids it.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use hearthward_equipment::{Generation, ShopMs};
use hearthward_supervise::interlock::{HeatOrder, Means};
use hearthward_supervise::output::Via;
use tokio::sync::Notify;

use crate::cut::{CutCell, Tag, lock};

/// How often an unchanged order is carried out again: a device that lost its power must not stay cold for long, and registers
/// that wear out with writing must last.
const AGAIN_AFTER: Duration = Duration::from_secs(60);

/// The slot.
#[derive(Debug)]
pub(crate) struct OrderSlot {
    cell: Arc<CutCell>,
    via: Via,
    /// The driver task that carries orders out.
    task: Arc<Notify>,
    /// How often an unchanged order is carried out again.
    again_after: Duration,
    held: Mutex<Held>,
}

#[derive(Debug, Default)]
struct Held {
    /// To be carried out, and not before when.
    waiting: Option<(HeatOrder, ShopMs)>,
    carried: Option<Carried>,
}

/// What the device was last told.
#[derive(Debug)]
struct Carried {
    means: Means,
    generation: Generation,
    lapses: u64,
    at: ShopMs,
}

impl OrderSlot {
    /// A slot; `heartbeat` is for an output that drops unless it is written again in time.
    pub(crate) fn new(cell: Arc<CutCell>, via: Via, task: Arc<Notify>, heartbeat: Option<Duration>) -> Self {
        let again_after = heartbeat.map_or(AGAIN_AFTER, |beat| beat.min(AGAIN_AFTER));
        Self { cell, via, task, again_after, held: Mutex::default() }
    }

    /// Takes an order if it still holds; says whether a lease began that somebody has to watch.
    pub(crate) fn put(&self, order: HeatOrder, now: ShopMs) -> bool {
        if self.is_void(&order, now) {
            return false;
        }
        let way = self.cell.way(self.via);
        let began = way.lease(order.expires());
        let mut held = lock(&self.held);
        let renews = held.carried.as_ref().is_some_and(|carried| {
            carried.means == *order.means()
                && carried.generation == order.generation()
                && carried.lapses == way.lapses()
                && now.since(carried.at) < self.again_after
        });
        if renews {
            // What waited was another wish of the same generation, and is overtaken.
            held.waiting = None;
        } else {
            let same = held.waiting.as_ref().is_some_and(|(waiting, _)| waiting.means() == order.means());
            let not_before = held.waiting.as_ref().filter(|_| same).map_or(now, |(_, not_before)| *not_before);
            held.waiting = Some((order, not_before));
            drop(held);
            if !same {
                self.task.notify_one();
            }
        }
        began
    }

    /// The order to carry out now, with the tag that makes it void when a cut comes.
    pub(crate) fn take(&self, now: ShopMs) -> Option<(HeatOrder, Tag)> {
        // Tagged before it is looked at: a cut in between voids the tag, not a stale look.
        let tag = self.cell.tag(self.via);
        let mut held = lock(&self.held);
        if held.waiting.as_ref().is_none_or(|(_, not_before)| now < *not_before) {
            return None;
        }
        let (order, _) = held.waiting.take()?;
        (!self.is_void(&order, now)).then_some((order, tag))
    }

    /// The device has done it.
    pub(crate) fn carried(&self, order: &HeatOrder, tag: &Tag, now: ShopMs) {
        if !tag.is_void() {
            let (means, generation) = (order.means().clone(), order.generation());
            let lapses = self.cell.way(self.via).lapses();
            lock(&self.held).carried = Some(Carried { means, generation, lapses, at: now });
        }
    }

    /// The device has not done it: it is tried again, unless something newer waits.
    pub(crate) fn failed(&self, order: HeatOrder, again_at: ShopMs) {
        let mut held = lock(&self.held);
        held.carried = None;
        if held.waiting.is_none() {
            held.waiting = Some((order, again_at));
        }
    }

    /// What the device was told counts no more: its driver begins anew.
    pub(crate) fn forget(&self) {
        lock(&self.held).carried = None;
    }

    fn is_void(&self, order: &HeatOrder, now: ShopMs) -> bool {
        order.generation() < self.cell.generation() || now >= order.expires()
    }
}
