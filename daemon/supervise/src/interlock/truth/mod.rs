//! Truth tables: each expression of the interlock table for all values of its inputs, against the sentence about it in the table,
//! written down here a second time. What a row does is asked of the catalogue, so that the way to the row is proved as well.

mod catalogue;
mod moment;
mod permit;
mod row;
mod sensor;
mod time;
mod words;

use super::row::{Verdict, Why};
use super::{InterlockKind, Memory, verdict};
use crate::facts::{Door, DoorTold, Facts, Situation};
use crate::plan::FurnacePlan;
use crate::points::Sample;
use hearthward_equipment::ShopMs;

/// What follows from a row whose cause stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Does {
    /// Heat is left alone.
    Alarm,
    /// Heat is left alone; a reset is owed.
    AlarmLatched,
    /// Heat is withheld.
    Cut,
    /// Heat is withheld; a reset is owed.
    CutLatched,
}

/// A row as far as it acts; `None` without a cause.
type Says = Option<(Does, Why)>;

fn says(verdict: Verdict) -> Says {
    let does = match (verdict.off, verdict.latch) {
        (false, false) => Does::Alarm,
        (false, true) => Does::AlarmLatched,
        (true, false) => Does::Cut,
        (true, true) => Does::CutLatched,
    };
    verdict.cause.then_some((does, verdict.why))
}

/// Goes through every way that so many yes-or-no inputs can be.
fn every<const INPUTS: usize>(row: impl Fn([bool; INPUTS])) {
    const { assert!(INPUTS <= 12, "a table that is too long to be gone through") };
    for bits in 0..1_u32 << INPUTS {
        row(std::array::from_fn(|place| bits >> place & 1 == 1));
    }
}

/// One of four values by two inputs.
fn one_of<T>(values: [T; 4], high: bool, low: bool) -> T {
    let [first, second, third, fourth] = values;
    match (high, low) {
        (false, false) => first,
        (false, true) => second,
        (true, false) => third,
        (true, true) => fourth,
    }
}

const DOORS: [Door; 4] = [Door::Absent, Door::Shut, Door::Open, Door::Unknown];

/// A furnace, and what its rows remember.
struct Case {
    plan: FurnacePlan,
    memory: Memory,
}

impl Case {
    fn new() -> Self {
        Self::of(crate::testing::furnace("north"))
    }

    fn of(plan: FurnacePlan) -> Self {
        Self { plan, memory: Memory::default() }
    }

    fn says(&mut self, kind: InterlockKind, facts: &Facts, now: &Situation) -> Says {
        says(verdict(kind, &self.plan, facts, now, &mut self.memory))
    }
}

/// Everything is read and nothing is wrong; so many seconds after the last tick.
fn fine(dt_s: f64) -> Facts {
    Facts {
        dt_s,
        temperature: Sample::Good(800.0),
        read_at: Some(ShopMs(0)),
        peak_c: 800.0,
        door: Door::Shut,
        door_told: DoorTold::Switch,
        ..Facts::nothing()
    }
}
