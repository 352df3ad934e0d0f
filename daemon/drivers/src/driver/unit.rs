//! A unit as its task works with it: which points the shop wants of it, and what heats by it.

use std::sync::Arc;

use hearthward_equipment::{Evidence, Fault, PointId, Quality, Reading, ShopMs, UnitId};
use hearthward_supervise::output::Via;

use crate::abi::{Read, Sample};
use crate::cut::CutCell;
use crate::pause::pause_after;
use crate::slot::OrderSlot;
use crate::survey::UnitFacts;

/// A unit.
#[derive(Debug)]
pub(crate) struct Unit {
    pub(crate) facts: UnitFacts,
    /// Its place in what `open` lists.
    pub(crate) index: u32,
    /// Its number in the shop, if the shop uses it.
    pub(crate) id: Option<UnitId>,
    /// The points that the shop uses.
    points: Arc<[Point]>,
    /// The furnace that it controls.
    pub(crate) controls: Option<Wired>,
    /// The contactors that its points close.
    pub(crate) contactors: Vec<Contactor>,
    /// When the last read that is known to have come from the device did.
    last_at: ShopMs,
    /// What was last said of it.
    pub(crate) said: Option<Said>,
    /// It was said that it does not take the orders to heat that it is given.
    pub(crate) refuses: bool,
    rest: Rest,
}

#[derive(Debug)]
struct Point {
    name: String,
    id: PointId,
}

/// What a call brought of one unit, not yet sorted by the shop's points.
#[derive(Debug)]
pub(crate) struct Brought {
    points: Arc<[Point]>,
    samples: Vec<Sample>,
    at: ShopMs,
    now: ShopMs,
    evidence: Evidence,
    /// Points that it should have brought and did not are bad.
    whole: bool,
}

/// What heats by this unit, and how far its cuts have come here.
#[derive(Debug)]
pub(crate) struct Wired {
    pub(crate) cell: Arc<CutCell>,
    pub(crate) via: Via,
    pub(crate) slot: Arc<OrderSlot>,
    /// The last wish that the guest has carried out, and the last that it was asked to.
    pub(crate) done: u64,
    pub(crate) tried: u64,
    /// How often the guest has tried that wish in vain.
    pub(crate) tries: u32,
    pub(crate) again_at: ShopMs,
}

/// A contactor that one of the unit's points closes.
#[derive(Debug)]
pub(crate) struct Contactor {
    pub(crate) wired: Wired,
    /// The point, by the contract's name and by ours.
    pub(crate) wire: String,
    pub(crate) name: String,
}

/// What the core was last told of a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Said {
    Answering,
    Silent(u32),
    OutOfService,
}

impl Wired {
    pub(crate) fn new(cell: Arc<CutCell>, via: Via, slot: Arc<OrderSlot>) -> Self {
        Self { cell, via, slot, done: 0, tried: 0, tries: 0, again_at: ShopMs(0) }
    }

    /// The wish that the guest is to carry out now, if there is one.
    pub(crate) fn due(&self, now: ShopMs) -> Option<u64> {
        let way = self.cell.way(self.via);
        let wish = way.wish();
        let fresh = self.tried < wish;
        let owed = self.done < wish && (fresh || (way.done() < wish && now >= self.again_at));
        owed.then_some(wish)
    }
}

impl Unit {
    pub(crate) fn new(facts: UnitFacts, index: u32, id: Option<UnitId>, points: Vec<(String, PointId)>) -> Self {
        let points = points.into_iter().map(|(name, id)| Point { name, id }).collect();
        Self {
            facts,
            index,
            id,
            points,
            controls: None,
            contactors: Vec::new(),
            last_at: ShopMs(0),
            said: None,
            refuses: false,
            rest: Rest::default(),
        }
    }

    /// Whether it did not answer when last read. Only what is reached over a line can take time, and so its neighbours' time.
    pub(crate) fn is_suspect(&self) -> bool {
        self.facts.on_a_line && self.rest.misses > 0
    }

    /// Since when it may be tried again, if it is a suspect and has rested.
    pub(crate) fn rested_since(&self, now: ShopMs) -> Option<ShopMs> {
        (self.is_suspect() && now >= self.rest.until).then_some(self.rest.until)
    }

    /// Notes a read in vain.
    pub(crate) fn missed(&mut self, now: ShopMs) {
        self.rest.missed(now);
    }

    /// Notes that a cut took the line from its read.
    pub(crate) fn withdrawn(&mut self, now: ShopMs) {
        self.rest.withdrawn(now);
    }

    /// Notes a read that brought something.
    pub(crate) fn answered(&mut self) {
        self.rest.misses = 0;
    }

    /// Everything that heats by it.
    pub(crate) fn wired(&self) -> impl Iterator<Item = &Wired> {
        self.controls.iter().chain(self.contactors.iter().map(|contactor| &contactor.wired))
    }

    /// The time of a read: that of its first exchange, since its values are no fresher; of one without any, that of the last
    /// that had one, so that a driver that answers from memory cannot look fresh. A unit without a line is always fresh.
    pub(crate) fn time_of(&mut self, read: &Read, now: ShopMs) -> ShopMs {
        match read.exchanged_at {
            Some(at) => {
                self.last_at = at;
                at
            }
            None if self.facts.on_a_line => self.last_at,
            None => now,
        }
    }

    /// What a call brought, to be sorted later. `whole` also tells of the points that it should have brought: they are bad.
    pub(crate) fn brought(&self, read: Read, at: ShopMs, now: ShopMs, whole: bool) -> Brought {
        let (points, evidence) = (Arc::clone(&self.points), self.facts.evidence);
        Brought { points, samples: read.samples, at, now, evidence, whole }
    }

    /// What is said of its points when it does not answer.
    pub(crate) fn nothing(&self, now: ShopMs) -> Brought {
        self.brought(Read::default(), now, now, true)
    }

    /// The name in the contract of a point by ours.
    pub(crate) fn wire_name(&self, name: &str) -> Option<&str> {
        self.facts.readings.iter().find(|(known, _)| known.as_str() == name).map(|(_, wire)| wire.as_str())
    }
}

impl Brought {
    /// Readings of the points that the shop uses.
    pub(crate) fn readings(self) -> Vec<Reading> {
        let Self { points, samples, at, now, evidence, whole } = self;
        let mut seen = vec![false; points.len()];
        let mut readings = Vec::with_capacity(points.len());
        for sample in samples {
            // The first of two of the same name counts.
            if let Some(place) = (0..points.len()).find(|&place| !seen[place] && points[place].name == sample.name) {
                seen[place] = true;
                let quality = if sample.value.is_none() { Quality::Bad } else { sample.quality };
                readings.push(Reading { point: points[place].id, at, value: sample.value, quality, evidence });
            }
        }
        if whole {
            let missing = points.iter().zip(seen).filter(|(_, seen)| !seen);
            readings.extend(missing.map(|(point, _)| Reading {
                point: point.id,
                at: now,
                value: None,
                quality: Quality::Bad,
                evidence,
            }));
        }
        readings
    }
}

impl Said {
    /// What is to be said of a fault: the same kind again is no news.
    pub(crate) fn silent(fault: &Fault) -> Self {
        Self::Silent(fault.code.0)
    }
}

/// Reads in vain, one after the other, and until when the unit is left alone after them.
#[derive(Clone, Copy, Debug, Default)]
struct Rest {
    misses: u32,
    until: ShopMs,
}

impl Rest {
    fn missed(&mut self, now: ShopMs) {
        self.misses = self.misses.saturating_add(1);
        self.until = now + pause_after(self.misses);
    }

    /// Of the suspects the one that has rested longest is tried first: without this, one whose reads are taken from it again and
    /// again would always be that one.
    fn withdrawn(&mut self, now: ShopMs) {
        self.until = self.until.max(now);
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    /// Goal: a suspect whose read was taken from it gets behind the others that have rested, and no pause of its own is cut short.
    #[test]
    fn a_read_that_was_taken_gets_behind() {
        let (mut taken, mut other) = (Rest::default(), Rest::default());
        taken.missed(ShopMs(1000));
        other.missed(ShopMs(1200));
        assert!(taken.until < other.until);
        taken.withdrawn(other.until + Duration::from_millis(100));
        assert!(taken.until > other.until);
        let pause = other;
        other.withdrawn(ShopMs(1201));
        assert_eq!(other.until, pause.until);
    }
}
