//! What a tick of the core was given: all that its decisions can be gone through again with.

use hearthward_equipment::{Reading, ShopMs, Tick};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::request::{Person, Request};
use serde::{Deserialize, Serialize};

/// The inputs of one tick, and the digest that it came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Inputs {
    /// Readings in the order in which they came, rounded ([`hearthward_equipment::Value::rounded`]) and none from the future.
    pub readings: Vec<Reading>,
    /// Everything else, in its order.
    pub others: Vec<Told>,
    /// The core's digest after the tick.
    pub digest: u64,
}

/// An input that is not a reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Told {
    /// Something happened.
    Observed(Observation),
    /// A person asked.
    Asked {
        /// Who.
        by: Person,
        /// What.
        ask: Request,
    },
}

/// The inputs of a tick as they are read back.
#[derive(Clone, Debug, PartialEq)]
pub struct PastTick {
    /// The tick.
    pub tick: Tick,
    /// The shop's time that it was given.
    pub now: ShopMs,
    /// Its readings. Those of one point are in their order; the points come in that of their numbers.
    pub readings: Vec<Reading>,
    /// Everything else, in its order.
    pub others: Vec<Told>,
    /// The digest that it came to, [folded](fold).
    pub digest: u32,
}

/// A digest as it is kept: half as long, because a digest that differs by chance alone is the same in one of four thousand million.
#[must_use]
pub fn fold(digest: u64) -> u32 {
    let folded = digest ^ (digest >> 32);
    folded as u32
}
