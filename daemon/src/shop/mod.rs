//! The running shop: the core on a thread of its own, between the driver host and the journal.
//!
//! ```text
//! host ──observations──▶ inbox 1024 ─┐                       ┌─ cuts ──▶ host (cells)
//! people ──asks────────▶ inbox       ├─▶ core thread ─tick──▶├─ acts ──▶ host
//! journal ──durable────▶ inbox     ──┘                       ├─ batch ─▶ journal ──▶ on disk ──▶ answers, subscribers
//!                                                            └─ orders ▶ host (slots)
//! ```

mod door;
mod drivers;
mod turn;

use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};

use hearthward_journal::AnswerRow;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::request::{Answer, Person, Request};
use hearthward_supervise::view::View;
use tokio::sync::{oneshot, watch};

pub use door::FrontDoor;
pub(crate) use turn::wall_ms;
pub use turn::{Core, CoreParts, Deeds};

/// What reaches the core thread.
#[derive(Debug)]
pub enum Input {
    /// Something happened.
    Observed(Observation),
    /// A person asks.
    Asked(Asked),
}

/// A person's request on its way to the core, and the way back.
#[derive(Debug)]
pub struct Asked {
    /// Who.
    pub person: Person,
    /// What.
    pub request: Request,
    /// The command's own id and a hash over what it asks.
    pub id: (String, u64),
    /// Where the answer goes when it is durable.
    pub reply: oneshot::Sender<Answer>,
}

/// Most inputs that wait for the core. A tick takes far less than a scan; a full inbox means that the core has stopped.
const INBOX: usize = 1024;

/// Most inputs that one turn takes before it decides, so that a flood cannot put a decision off.
const DRAIN: usize = 1024;

/// The inbox's two ends.
#[must_use]
pub fn inbox() -> (SyncSender<Input>, std::sync::mpsc::Receiver<Input>) {
    sync_channel(INBOX)
}

/// Tells the core what became durable.
pub(crate) struct ToldByJournal(pub(crate) SyncSender<Input>);

impl hearthward_journal::Listener for ToldByJournal {
    fn durable(&mut self, through: hearthward_equipment::Tick, _: &[Arc<hearthward_journal::Recorded>]) {
        // The next one covers this one, so a full inbox loses nothing.
        let _ = self.0.try_send(Input::Observed(Observation::Durable { through }));
    }

    fn failing(&mut self, why: Option<&str>) {
        // Trouble is told again with every attempt; only its end must not be lost, and the core takes the first durable tick for that.
        let _ = self.0.try_send(Input::Observed(Observation::Record { failing: why.map(str::to_owned) }));
    }
}

/// The latest view, for every face.
pub type Views = watch::Receiver<Arc<View>>;

/// An answer with what the journal keeps of it.
pub(crate) fn answer_row(id: &(String, u64), answer: &Answer) -> AnswerRow {
    AnswerRow { request_id: id.0.clone(), fingerprint: id.1, answer: answer.clone() }
}
