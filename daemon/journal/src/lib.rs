//! The durable record of a shop: events numbered when they are on disk, what stood, and what people were answered.
//!
//! One thread owns the writing. The core hands it a [`Batch`] a tick with [`Recorder::try_send`], which never waits; events,
//! standing and answers of a batch become durable in one transaction, so they cannot disagree. Only then the events get their
//! numbers, the [`Listener`] is told, and readers see them:
//!
//! ```text
//! core ──try_send──▶ queue 256 ──▶ record thread ──commit──▶ SQLite (WAL, synchronous = FULL)
//!                      │ full: the core      │
//!                      ▼ keeps its backlog   ├──▶ Listener::durable   (to the core: `durable_through`)
//!                                            └──▶ ring of 4096 ──▶ Reader (ring, else its own read-only connection)
//! ```
//!
//! Nothing here decides anything, and no clock is read: times come in with the batch. The file is plain SQLite with JSON
//! bodies, so that any tool reads it; the events form a hash chain, so that a changed row is seen.

mod batch;
mod chain;
mod error;
mod input;
mod keep;
mod log;
mod names;
mod open;
mod pack;
mod past;
mod place;
mod read;
mod record;
mod ring;
mod schema;
mod span;
mod write;
mod write_input;

pub use batch::{AnswerRow, Batch, Recorded, StandingRow};
pub use chain::ChainBreak;
pub use error::{JournalError, ReadError};
pub use input::{Inputs, PastTick, Told, fold};
pub use keep::InputsKept;
pub use names::Names;
pub use open::{Journal, OpenOptions, Opened};
pub use past::{Past, Start};
pub use read::{Beyond, Reader};
pub use record::{Listener, QUEUE_BATCHES, Recorder, Refused};
pub use ring::RING_EVENTS;
pub use write::GROUP_EVENTS;
