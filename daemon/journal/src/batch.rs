//! What goes into the journal, and what comes out.

use std::sync::{Arc, OnceLock};

use hearthward_equipment::{Name, ShopMs, Tick};
use hearthward_supervise::event::{Event, EventBody, Priority};
use hearthward_supervise::request::Answer;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::input::Inputs;
use crate::names::Names;

/// Everything of one tick that must be durable together.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// The tick.
    pub tick: Tick,
    /// The shop's time of the tick.
    pub at: ShopMs,
    /// Time of day in milliseconds since 1970: a label.
    pub wall_ms: i64,
    /// What happened, in order.
    pub events: Vec<Event>,
    /// What stands after this tick, if it changed.
    pub standing: Option<StandingRow>,
    /// What people were answered.
    pub answers: Vec<AnswerRow>,
    /// What this tick was given. Left out, decisions can be gone through again only from the next state that is kept.
    pub inputs: Option<Inputs>,
    /// The core's whole state after this tick, for a replay to begin at; `cuts` is not used.
    pub kept: Option<StandingRow>,
}

impl Batch {
    /// A batch of nothing but its tick: it becomes durable as soon as everything before it is.
    #[must_use]
    pub fn of_tick(tick: Tick, at: ShopMs, wall_ms: i64) -> Self {
        Self { tick, at, wall_ms, events: Vec::new(), standing: None, answers: Vec::new(), inputs: None, kept: None }
    }

    /// Whether nothing needs to be written for it now. Inputs by themselves can wait.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.standing.is_none() && !self.is_news()
    }

    /// Whether it holds anything that the inputs before it must not be missing to.
    pub(crate) fn is_news(&self) -> bool {
        !self.events.is_empty() || !self.answers.is_empty() || self.kept.is_some()
    }
}

/// What a restart needs to go on from: opaque here, so that the journal does not have to change when the core's state does.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StandingRow {
    /// The layout of `body`, counted by the core.
    pub format: u32,
    /// The core's own state.
    pub body: Vec<u8>,
    /// Bytes that make each unit safe, kept by the host and sent before anything else at a start.
    pub cuts: Vec<u8>,
}

impl StandingRow {
    /// Packs a state.
    ///
    /// # Errors
    /// What the serialiser says of a type that it cannot pack; never for plain data.
    pub fn pack<T: Serialize>(format: u32, state: &T, cuts: Vec<u8>) -> Result<Self, postcard::Error> {
        Ok(Self { format, body: postcard::to_stdvec(state)?, cuts })
    }

    /// Reads the state back. The caller looks at `format` first.
    ///
    /// # Errors
    /// When the bytes are not such a state.
    pub fn unpack<T: DeserializeOwned>(&self) -> Result<T, postcard::Error> {
        postcard::from_bytes(&self.body)
    }
}

/// What a person's command came to, kept so that a repeat after a crash gets the same answer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AnswerRow {
    /// The command's own id.
    pub request_id: String,
    /// A hash over what was asked: the same id for something else is a mistake, not a repeat.
    pub fingerprint: u64,
    /// The answer.
    pub answer: Answer,
}

/// An event with its number: it is on disk.
#[derive(Debug)]
pub struct Recorded {
    /// Its number: 1, 2, 3 … without gaps.
    pub seq: u64,
    /// Which start of the service it happened in, counted from 1.
    pub boot: u64,
    /// The shop's time, counted within that start.
    pub at: ShopMs,
    /// Time of day in milliseconds since 1970: a label.
    pub wall_ms: i64,
    /// The tick it belongs to.
    pub tick: Tick,
    /// The furnace it is about.
    pub furnace: Option<Name>,
    /// How much it matters.
    pub priority: Priority,
    /// Who caused it, if a person did.
    pub person: Option<String>,
    /// What kind, as a word. Given even when `body` is not.
    pub kind: String,
    /// The sentence that people read.
    pub text: String,
    /// The same for programs; absent when a later version wrote a kind that this one does not know.
    pub body: Option<EventBody>,
    /// What the numbers in `body` stand for.
    pub names: Arc<Names>,
    pub(crate) encoded: OnceLock<Box<[u8]>>,
}

impl Recorded {
    /// The event as one face sends it, made at most once: fifty subscribers share the bytes.
    ///
    /// There is one such form to an event. A second caller gets what the first one's `encode` gave.
    pub fn encoded(&self, encode: impl FnOnce(&Self) -> Vec<u8>) -> &[u8] {
        self.encoded.get_or_init(|| encode(self).into_boxed_slice())
    }
}
