//! Where observations go.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Via;
use tokio::sync::Notify;

use crate::cut::CutCell;
use crate::driver::Brought;

/// The core's inbox as the host sees it. Any closure of this shape is one.
pub trait Inbox: Send + Sync + 'static {
    /// Takes the observation if there is room; must not wait.
    ///
    /// # Errors
    /// The observation, when there is no room. The host waits a moment and offers it again; a driver reads no faster than the
    /// core takes. When the core is gone the observation is to be taken and dropped.
    fn offer(&self, what: Observation) -> Result<(), Box<Observation>>;
}

impl<F> Inbox for F
where
    F: Fn(Observation) -> Result<(), Box<Observation>> + Send + Sync + 'static,
{
    fn offer(&self, what: Observation) -> Result<(), Box<Observation>> {
        self(what)
    }
}

/// Between two offers to a full inbox.
const OFFER_AGAIN_AFTER: Duration = Duration::from_millis(1);

/// Offers until there is room.
pub(crate) async fn deliver(inbox: &dyn Inbox, what: Observation) {
    let mut offered = inbox.offer(what);
    while let Err(back) = offered {
        tokio::time::sleep(OFFER_AGAIN_AFTER).await;
        offered = inbox.offer(*back);
    }
}

/// Where a driver task puts its observations.
pub(crate) struct Sink {
    /// The core's inbox; none when a step collects them, so that every run of a demonstration tells them in the same order.
    inbox: Option<Arc<dyn Inbox>>,
    kept: VecDeque<Kept>,
}

enum Kept {
    One(Observation),
    /// Sorted only when it is handed over, which is while the next device is waited for.
    Read(Brought),
}

impl Sink {
    pub(crate) fn new(inbox: Option<Arc<dyn Inbox>>) -> Self {
        Self { inbox, kept: VecDeque::new() }
    }

    /// Keeps it until the next [`Sink::flush`] or [`Sink::take`], which is before the task waits for anything but its device.
    pub(crate) fn put(&mut self, what: Observation) {
        self.kept.push_back(Kept::One(what));
    }

    /// As [`Sink::put`], for all that a read brought.
    pub(crate) fn put_read(&mut self, what: Brought) {
        self.kept.push_back(Kept::Read(what));
    }

    /// Hands everything to the core, in order. May be dropped in between.
    pub(crate) async fn flush(&mut self) {
        let Some(inbox) = self.inbox.clone() else { return };
        while let Some(what) = self.next() {
            if let Err(back) = inbox.offer(what) {
                self.kept.push_front(Kept::One(*back));
                tokio::time::sleep(OFFER_AGAIN_AFTER).await;
            }
        }
    }

    fn next(&mut self) -> Option<Observation> {
        loop {
            match self.kept.pop_front()? {
                Kept::One(what) => return Some(what),
                Kept::Read(brought) => {
                    for reading in brought.readings().into_iter().rev() {
                        self.kept.push_front(Kept::One(Observation::Reading(reading)));
                    }
                }
            }
        }
    }

    pub(crate) fn take(&mut self) -> Vec<Observation> {
        std::iter::from_fn(|| self.next()).collect()
    }
}

/// Tells the core how far cuts have come. A task of its own: the lanes must not wait for the core.
pub(crate) async fn report_cuts(cells: Vec<Arc<CutCell>>, told: Arc<Notify>, inbox: Arc<dyn Inbox>) {
    loop {
        told.notified().await;
        for what in take_cuts(&cells) {
            deliver(inbox.as_ref(), what).await;
        }
    }
}

/// What is to be told of cuts, in the order of the furnaces.
pub(crate) fn take_cuts(cells: &[Arc<CutCell>]) -> Vec<Observation> {
    cells
        .iter()
        .flat_map(|cell| Via::BOTH.map(|via| (cell, via)))
        .filter_map(|(cell, via)| {
            let (generation, is) = cell.told(via)?;
            Some(Observation::Cut { furnace: cell.furnace, generation, via, is })
        })
        .collect()
}
