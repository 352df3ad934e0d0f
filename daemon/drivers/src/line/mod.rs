//! The lines: bytes out, bytes back, one exchange at a time, cuts ahead of everything.
//!
//! The one who has the turn does his own reading and writing, on the guests' runtime, so that an exchange costs no hop between
//! threads. The lane, a task on a runtime of its own, connects, and takes the wire out of anybody's hands when a cut is due: who
//! held it finds out under the lock before his next byte.

mod deliver;
mod frame;
mod lane;
mod tcp;
mod wire;

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, Name};
use tokio::sync::Notify;
use tokio::time::Instant;

pub use deliver::StandingSent;
pub(crate) use deliver::deliver_all;
pub(crate) use frame::{Extent, FRAME_LONGEST, FrameRule, check};
pub(crate) use lane::CutGroup;

use crate::alarm::Alarm;
use crate::cut::Tag;
use crate::plan::{LineKind, LineSpec};
use tcp::TcpLine;

/// A line of any kind. (A serial port, whose blocking calls need a thread, becomes the second variant.)
#[derive(Clone, Debug)]
pub(crate) enum Line {
    Tcp(Arc<TcpLine>),
}

/// Who goes first when several wait for the line. A new cut waits for none of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Class {
    /// Part of a command: before all others.
    Write,
    /// Part of a read.
    Read,
    /// A standing cut that was sent before and is not confirmed: in turn with the reads.
    Again,
}

/// One request and what its reply looks like.
#[derive(Debug)]
pub(crate) struct Ask<'a> {
    pub(crate) class: Class,
    /// The furnace whose cut makes this void, if it belongs to one.
    pub(crate) tag: Option<&'a Tag>,
    pub(crate) request: &'a [u8],
    /// Empty when there is no reply.
    pub(crate) rules: &'a [FrameRule],
    /// From the moment that the request is on the line.
    pub(crate) within: Duration,
    /// When nobody waits for it any more, be it for the turn or for the reply.
    pub(crate) give_up_at: Instant,
}

impl Ask<'_> {
    /// Whether a cut has overtaken it.
    fn is_void(&self) -> bool {
        self.tag.is_some_and(Tag::is_void)
    }
}

/// How a line is, for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineStatus {
    /// Its name.
    pub name: Name,
    /// Where it leads.
    pub to: String,
    /// Whether it is open.
    pub open: bool,
    /// Why not, if it is not.
    pub why: String,
    /// Exchanges that were begun.
    pub exchanges: u64,
    /// Exchanges that ended in a fault.
    pub faults: u64,
}

impl Line {
    /// Makes the line and starts its lane on `lanes`; exchanges are woken by `guests`.
    pub(crate) fn start(spec: &LineSpec, guests: &tokio::runtime::Handle, lanes: &tokio::runtime::Handle) -> Self {
        match &spec.kind {
            LineKind::Tcp { address } => {
                let line = Arc::new(TcpLine::new(spec.name.clone(), address.clone(), spec.turnaround, guests.clone()));
                lanes.spawn(lane::run(Arc::clone(&line)));
                Self::Tcp(line)
            }
        }
    }

    /// Its name.
    pub(crate) fn name(&self) -> &Name {
        match self {
            Self::Tcp(line) => line.name(),
        }
    }

    /// Sends a request and returns its reply; see the contract for what it promises.
    pub(crate) async fn exchange(&self, ask: &Ask<'_>, alarm: &mut Alarm) -> Result<Vec<u8>, Fault> {
        if ask.request.is_empty() || ask.request.len() > FRAME_LONGEST {
            return Err(Fault::new(FaultCode::NOT_ALLOWED, "the request is empty or too long"));
        }
        if !ask.rules.is_empty() {
            check(ask.rules).map_err(|why| Fault::new(FaultCode::NOT_ALLOWED, why))?;
        }
        match self {
            Self::Tcp(line) => line.exchange(ask, alarm).await,
        }
    }

    /// What the line is to carry for the furnaces when heat is to be taken away.
    pub(crate) fn set_groups(&self, groups: Vec<Arc<CutGroup>>) {
        match self {
            Self::Tcp(line) => line.set_groups(groups),
        }
    }

    /// What wakes the lane.
    pub(crate) fn lane(&self) -> Arc<Notify> {
        match self {
            Self::Tcp(line) => line.lane(),
        }
    }

    /// How it is.
    pub(crate) fn status(&self) -> LineStatus {
        match self {
            Self::Tcp(line) => line.status(),
        }
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.name().fmt(f)
    }
}
