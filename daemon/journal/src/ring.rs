//! What the record thread shares with readers: the newest events in memory, and who waits for the next one.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};
use std::task::Waker;

use crate::batch::Recorded;

/// How many of the newest events are kept in memory.
///
/// At some 600 bytes an event that is 2.5 MB, and minutes of a busy shop: a reader that keeps up never touches the disk.
pub const RING_EVENTS: usize = 4096;

/// The newest events and the bounds of what is on record.
#[derive(Debug)]
pub(crate) struct Shared {
    ring: RwLock<VecDeque<Arc<Recorded>>>,
    /// The newest event that readers may see; 0 while there is none.
    last: AtomicU64,
    /// The oldest event that is kept; 0 while there is none.
    oldest: AtomicU64,
    waiters: Mutex<Waiters>,
}

#[derive(Debug, Default)]
struct Waiters {
    next: u64,
    waiting: BTreeMap<u64, Waker>,
}

impl Shared {
    /// Begins with what the file holds, and an empty ring.
    pub(crate) fn new(oldest: u64, last: u64) -> Self {
        Self {
            ring: RwLock::new(VecDeque::new()),
            last: AtomicU64::new(last),
            oldest: AtomicU64::new(oldest),
            waiters: Mutex::default(),
        }
    }

    pub(crate) fn last(&self) -> u64 {
        self.last.load(Ordering::Acquire)
    }

    pub(crate) fn oldest(&self) -> u64 {
        self.oldest.load(Ordering::Acquire)
    }

    /// For a reader of a file that another process writes.
    pub(crate) fn set_bounds(&self, oldest: u64, last: u64) {
        self.oldest.store(oldest, Ordering::Release);
        self.last.store(last, Ordering::Release);
        self.wake();
    }

    /// Shows events that are on disk to everyone, in order.
    pub(crate) fn publish(&self, events: &[Arc<Recorded>]) {
        let (Some(first), Some(last)) = (events.first(), events.last()) else { return };
        assert_eq!(first.seq, self.last() + 1, "an event is published once and in its place");
        {
            let mut ring = self.ring.write().unwrap_or_else(PoisonError::into_inner);
            ring.extend(events.iter().cloned());
            let surplus = ring.len().saturating_sub(RING_EVENTS);
            ring.drain(..surplus);
        }
        if self.oldest() == 0 {
            self.oldest.store(first.seq, Ordering::Release);
        }
        // After the ring: who sees the new number finds the event.
        self.last.store(last.seq, Ordering::Release);
        self.wake();
    }

    /// Up to `limit` events from `from` on, or nothing when the ring does not reach back so far.
    pub(crate) fn read(&self, from: u64, limit: usize) -> Option<Vec<Arc<Recorded>>> {
        // Read before the ring is looked at: events that come meanwhile wait for the next call.
        let last = self.last();
        if from > last {
            return Some(Vec::new());
        }
        let ring = self.ring.read().unwrap_or_else(PoisonError::into_inner);
        let first = ring.front()?.seq;
        let skip = usize::try_from(from.checked_sub(first)?).ok()?;
        let visible = usize::try_from(last - from + 1).unwrap_or(usize::MAX);
        Some(ring.iter().skip(skip).take(limit.min(visible)).cloned().collect())
    }

    /// Remembers whom to wake; `place` names an earlier entry of the same waiter.
    pub(crate) fn wait(&self, place: Option<u64>, waker: &Waker) -> u64 {
        let mut waiters = self.waiters();
        let place = place.unwrap_or_else(|| {
            waiters.next += 1;
            waiters.next
        });
        waiters.waiting.insert(place, waker.clone());
        place
    }

    /// Forgets a waiter.
    pub(crate) fn leave(&self, place: u64) {
        self.waiters().waiting.remove(&place);
    }

    fn wake(&self) {
        // Taken out first: a waker runs foreign code, which must not meet a held lock.
        let woken = std::mem::take(&mut self.waiters().waiting);
        woken.into_values().for_each(Waker::wake);
    }

    fn waiters(&self) -> MutexGuard<'_, Waiters> {
        self.waiters.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
