//! The record thread and the handle that the core sends through.

use std::fs::File;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SyncSender, TrySendError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use hearthward_equipment::Tick;
use rusqlite::ErrorCode;

use crate::batch::{Batch, Recorded};
use crate::error::JournalError;
use crate::ring::Shared;
use crate::write::{GROUP_EVENTS, Writer};

/// Batches that wait for the record thread at most; then the core keeps its own backlog.
///
/// At ten ticks a second this is half a minute in which a disk may say nothing.
pub const QUEUE_BATCHES: usize = 256;

/// The first pause after a failed attempt, short enough that a locked file is hardly noticed.
const FIRST_PAUSE: Duration = Duration::from_millis(50);

/// The longest pause: a disk with space again is used within a second.
const LONGEST_PAUSE: Duration = Duration::from_secs(1);

/// Who is told what became durable. Called on the record thread: it must not wait for anything.
pub trait Listener: Send {
    /// Everything up to this tick is on disk, among it these events; readers see them already.
    fn durable(&mut self, through: Tick, events: &[Arc<Recorded>]);

    /// The record cannot be written, in words, or can again. Nothing was lost; it is tried again until it works.
    ///
    /// Trouble is told with every attempt, at most some twenty times a second, so that whoever is told may miss one.
    fn failing(&mut self, why: Option<&str>);
}

/// The way into the journal. There is one, and the core owns it.
///
/// Dropped without [`Recorder::finish`], it writes what it was given and leaves the start marked as cut short.
#[derive(Debug)]
pub struct Recorder {
    /// `None` only while the recorder is being dropped.
    orders: Option<SyncSender<Order>>,
    /// Dropped to tell a thread that cannot write to give up.
    patience: Option<SyncSender<()>>,
    done: Receiver<Result<(), String>>,
    thread: Option<JoinHandle<()>>,
    limit_bytes: Arc<AtomicU64>,
    path: PathBuf,
}

/// A batch that was not taken; it comes back so that nothing is lost.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// The queue is full: keep the batch and send it first next time.
    #[error("the journal's queue is full")]
    Full(Box<Batch>),
    /// The record thread has ended, which only a broken invariant can do.
    #[error("the journal's thread has ended")]
    Ended(Box<Batch>),
}

#[derive(Debug)]
enum Order {
    Write(Box<Batch>),
    Finish,
}

impl Recorder {
    /// Starts the record thread.
    pub(crate) fn start(
        writer: Writer,
        lock: File,
        shared: Arc<Shared>,
        limit_bytes: u64,
        listener: Box<dyn Listener>,
    ) -> Result<Self, JournalError> {
        let path = writer.path.clone();
        let (orders, inbox) = mpsc::sync_channel(QUEUE_BATCHES);
        let (patience, out_of_patience) = mpsc::sync_channel(0);
        let (report, done) = mpsc::sync_channel(1);
        let limit_bytes = Arc::new(AtomicU64::new(limit_bytes));
        let mut record = RecordThread {
            writer,
            _lock: lock,
            shared,
            listener,
            inbox,
            out_of_patience,
            limit_bytes: Arc::clone(&limit_bytes),
            limit_set: u64::MAX,
            trouble: None,
        };
        let thread = thread::Builder::new()
            .name("record".into())
            .spawn(move || {
                // Nobody listens when the recorder was dropped; then there is nobody to tell.
                let _ = report.send(record.run());
            })
            .map_err(|error| JournalError::Unreachable { path: path.clone(), detail: error.to_string() })?;
        Ok(Self { orders: Some(orders), patience: Some(patience), done, thread: Some(thread), limit_bytes, path })
    }

    /// Hands a batch over. Never waits.
    ///
    /// # Errors
    /// The batch, when the queue is full or the thread has ended.
    pub fn try_send(&self, batch: Batch) -> Result<(), Refused> {
        let Some(orders) = &self.orders else { return Err(Refused::Ended(Box::new(batch))) };
        orders.try_send(Order::Write(Box::new(batch))).map_err(|refused| match refused {
            TrySendError::Full(Order::Write(batch)) => Refused::Full(batch),
            TrySendError::Disconnected(Order::Write(batch)) => Refused::Ended(batch),
            TrySendError::Full(Order::Finish) | TrySendError::Disconnected(Order::Finish) => {
                unreachable!("what comes back is what was sent")
            }
        })
    }

    /// Changes how large the file may grow, for a thread that is running. A commit that would pass it is held back as on a full disk.
    pub fn limit_bytes(&self, bytes: u64) {
        self.limit_bytes.store(bytes, Ordering::Relaxed);
    }

    /// Writes everything that was given, marks this start as ended in order, and ends the thread.
    ///
    /// # Errors
    /// [`JournalError::Unwritten`] when the disk did not take it within `patience`.
    pub fn finish(mut self, patience: Duration) -> Result<(), JournalError> {
        let path = self.path.clone();
        let unwritten = |detail: &str| JournalError::Unwritten { path: path.clone(), detail: detail.into() };
        // A full queue of a failing disk must not hold this up for longer than the patience, so the wait is on the answer only.
        let asked = match &self.orders {
            Some(orders) => send_within(orders, Order::Finish, patience),
            None => false,
        };
        if !asked {
            return Err(unwritten("its queue stayed full"));
        }
        let mut said = self.done.recv_timeout(patience);
        if said == Err(RecvTimeoutError::Timeout) {
            // Told to give up, it answers with what the last attempt said.
            self.patience = None;
            said = self.done.recv_timeout(LONGEST_PAUSE * 2);
        }
        match said {
            Ok(said) => said.map_err(|detail| unwritten(&detail)),
            Err(RecvTimeoutError::Disconnected) => Err(unwritten("its thread ended")),
            Err(RecvTimeoutError::Timeout) => {
                // The thread hangs in the disk, and the process ends without it.
                self.thread = None;
                Err(unwritten("the disk does not answer"))
            }
        }
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        self.orders = None;
        self.patience = None;
        if let Some(thread) = self.thread.take() {
            // A panic of the thread was reported when it happened.
            let _ = thread.join();
        }
    }
}

/// `sync_channel` has no send with a time limit: tried a few times, which is enough for a queue that drains at all.
fn send_within(orders: &SyncSender<Order>, mut order: Order, patience: Duration) -> bool {
    const ATTEMPTS: u32 = 100;
    for _ in 0..ATTEMPTS {
        match orders.try_send(order) {
            Ok(()) => return true,
            Err(TrySendError::Disconnected(_)) => return false,
            Err(TrySendError::Full(back)) => order = back,
        }
        thread::park_timeout(patience / ATTEMPTS);
    }
    false
}

/// Why a group is not on disk.
#[derive(Debug, thiserror::Error)]
enum Trouble {
    #[error("{0}")]
    Moved(String),
    #[error(transparent)]
    Database(#[from] rusqlite::Error),
}

impl Trouble {
    fn is_full(&self) -> bool {
        matches!(self, Self::Database(error) if error.sqlite_error_code() == Some(ErrorCode::DiskFull))
    }
}

/// Owns the writing connection for as long as the service runs.
struct RecordThread {
    writer: Writer,
    /// Let go of after the connection is closed.
    _lock: File,
    shared: Arc<Shared>,
    listener: Box<dyn Listener>,
    inbox: Receiver<Order>,
    /// Disconnected when nobody waits for a failing disk any more.
    out_of_patience: Receiver<()>,
    limit_bytes: Arc<AtomicU64>,
    limit_set: u64,
    /// What the last attempt said, while the record fails.
    trouble: Option<String>,
}

impl RecordThread {
    fn run(&mut self) -> Result<(), String> {
        let mut finish = false;
        while !finish {
            let Ok(first) = self.inbox.recv() else { return Ok(()) };
            let group = self.gather(first, &mut finish);
            self.write(group)?;
        }
        self.writer.close().map_err(|error| error.to_string())
    }

    /// Everything that waits, up to a group's size.
    fn gather(&self, first: Order, finish: &mut bool) -> Vec<Batch> {
        let mut group = Vec::new();
        let mut events = 0;
        let mut next = Some(first);
        while let Some(order) = next.take() {
            match order {
                Order::Write(batch) => {
                    events += batch.events.len();
                    group.push(*batch);
                }
                Order::Finish => {
                    *finish = true;
                    break;
                }
            }
            if events < GROUP_EVENTS && group.len() < QUEUE_BATCHES {
                next = self.inbox.try_recv().ok();
            }
        }
        group
    }

    /// Tries until the group is on disk. An error only when there is nobody left to wait for it.
    fn write(&mut self, mut group: Vec<Batch>) -> Result<(), String> {
        let Some(through) = group.last().map(|batch| batch.tick) else { return Ok(()) };
        group.iter_mut().for_each(|batch| self.writer.inputs.take(batch));
        let mut pause = FIRST_PAUSE;
        while let Err(error) = self.attempt(&group) {
            self.report(&error.to_string());
            if error.is_full()
                && let Err(error) = self.writer.make_room()
            {
                tracing::warn!(%error, "the oldest inputs could not be given up for room");
            }
            if self.out_of_patience.recv_timeout(pause) == Err(RecvTimeoutError::Disconnected) {
                return self.attempt(&group).map_err(|error| error.to_string());
            }
            pause = (pause * 2).min(LONGEST_PAUSE);
        }
        let events = self.writer.recorded(group);
        // Readers first: who is told of a number finds it.
        self.shared.publish(&events);
        if self.trouble.take().is_some() {
            tracing::info!("the journal can be written again");
            self.listener.failing(None);
        }
        self.listener.durable(through, &events);
        Ok(())
    }

    fn attempt(&mut self, group: &[Batch]) -> Result<(), Trouble> {
        // Also for a group that writes nothing: people learn of it while there is time to put the file back.
        if let Some(what) = self.writer.place.moved() {
            return Err(Trouble::Moved(what));
        }
        let limit = self.limit_bytes.load(Ordering::Relaxed);
        if limit != self.limit_set {
            self.writer.limit_bytes(limit)?;
            self.limit_set = limit;
        }
        Ok(self.writer.commit(group)?)
    }

    fn report(&mut self, why: &str) {
        if self.trouble.as_deref() != Some(why) {
            tracing::error!(path = %self.writer.path.display(), why, "the journal cannot be written; everything is kept and tried again");
            self.trouble = Some(why.into());
        }
        self.listener.failing(Some(why));
    }
}
