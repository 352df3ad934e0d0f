//! The cut lane's heart: one cell per furnace, which says how often heat was taken away and how far that has come.
//!
//! ```text
//! core ──Cut──▶ CutCell (atomics, no queue) ──wake──▶ lanes of the lines: standing cuts, until they read back
//!                    ▲                      └─wake──▶ driver task: the guest's own `cut`, reads back
//! lease watch ──lapse┘
//! ```
//!
//! Raising a cell never waits, allocates nothing and cannot be full. A *wish* counts up with every cut and every lapsed lease;
//! whoever carries it out remembers the wish that it has done, so that an overtaken cut costs nothing. The core repeats a cut that was
//! read back and did not help: that is a new wish.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use hearthward_equipment::{FurnaceId, Generation, Name, ShopMs};
use hearthward_supervise::observe::CutState;
use hearthward_supervise::output::{Cut, Via};
use serde::{Deserialize, Serialize};
use tokio::sync::Notify;

use crate::line::FrameRule;

/// What is known of the taking away of one furnace's heat.
#[derive(Debug)]
pub(crate) struct CutCell {
    pub(crate) furnace: FurnaceId,
    /// Orders of older generations are void.
    generation: AtomicU64,
    ways: [WayCell; 2],
    /// The newest thing to tell the core of each way; latest wins, so that nobody ever waits to say it.
    report: Mutex<[Option<(Generation, CutState)>; 2]>,
    reporter: Arc<Notify>,
}

/// One way of one furnace.
#[derive(Debug, Default)]
pub(crate) struct WayCell {
    /// One more than the generation of the last cut by this way; 0 is never.
    cut: AtomicU64,
    /// Leases that ran out without renewal.
    lapses: AtomicU64,
    /// Cuts that were read back and asked for again.
    repeats: AtomicU64,
    /// The wish that was last read back.
    done: AtomicU64,
    /// When the lease in force ends, in shop time; 0 when there is none.
    lease_until_ms: AtomicU64,
    /// The lanes and the driver task that carry it out. Set once, before the first cut.
    wakes: OnceLock<Vec<Arc<Notify>>>,
    lines: Mutex<Lines>,
}

/// How many lines have a part in a way's standing cuts, and how many of them have read it back.
#[derive(Debug, Default)]
struct Lines {
    all: usize,
    wish: u64,
    read_back: usize,
}

impl CutCell {
    /// A cell that was never cut.
    pub(crate) fn new(furnace: FurnaceId, reporter: Arc<Notify>) -> Self {
        Self { furnace, generation: AtomicU64::new(0), ways: Default::default(), report: Mutex::default(), reporter }
    }

    /// The way's part.
    pub(crate) fn way(&self, via: Via) -> &WayCell {
        &self.ways[via as usize]
    }

    /// Takes heat away. Never waits and allocates nothing; the same cut again does nothing while it is under way.
    pub(crate) fn raise(&self, cut: &Cut) {
        self.generation.fetch_max(cut.generation.0, Ordering::AcqRel);
        let next = cut.generation.0.saturating_add(1);
        for each in Via::BOTH {
            self.way(each).lease_until_ms.store(0, Ordering::Release);
        }
        let cell = self.way(cut.via);
        let new = cell.cut.fetch_max(next, Ordering::AcqRel) < next;
        let again = !new && cell.done() >= cell.wish();
        if again {
            cell.repeats.fetch_add(1, Ordering::AcqRel);
        }
        if new || again {
            // Both are woken: an exchange of either way may be under way and is void now.
            for each in Via::BOTH {
                self.way(each).wake();
            }
        }
    }

    /// The oldest generation whose orders still hold.
    pub(crate) fn generation(&self) -> Generation {
        Generation(self.generation.load(Ordering::Acquire))
    }

    /// Ends the way's lease if it has run out, and cuts.
    pub(crate) fn lapse_if_over(&self, via: Via, now: ShopMs) -> bool {
        let cell = self.way(via);
        let until = cell.lease_until_ms.load(Ordering::Acquire);
        if until == 0 || now.0 < until {
            return false;
        }
        // A renewal that came in between has moved the lease on, and wins.
        if cell.lease_until_ms.compare_exchange(until, 0, Ordering::AcqRel, Ordering::Acquire).is_err() {
            return false;
        }
        cell.lapses.fetch_add(1, Ordering::AcqRel);
        tracing::error!(furnace = self.furnace.0, via = ?via, "no order was renewed in time: heat is cut without one");
        cell.wake();
        true
    }

    /// A tag for calls that a cut from now on makes void.
    pub(crate) fn tag(self: &Arc<Self>, via: Via) -> Tag {
        Tag { cell: Arc::clone(self), via, generation: self.generation(), wish: self.way(via).wish() }
    }

    /// Says how far the way's cut has come.
    pub(crate) fn tell(&self, via: Via, state: CutState) {
        lock(&self.report)[via as usize] = Some((self.generation(), state));
        self.reporter.notify_one();
    }

    /// Says that the way's bytes are out, unless there is better news already.
    pub(crate) fn tell_sent(&self, via: Via) {
        let mut report = lock(&self.report);
        let slot = &mut report[via as usize];
        if slot.is_none() {
            *slot = Some((self.generation(), CutState::Sent));
            drop(report);
            self.reporter.notify_one();
        }
    }

    /// Takes what is to be told of the way.
    pub(crate) fn told(&self, via: Via) -> Option<(Generation, CutState)> {
        lock(&self.report)[via as usize].take()
    }

    /// The guest, or the last line, has read back that there is no heat.
    pub(crate) fn confirm(&self, via: Via, wish: u64) {
        if self.way(via).done.fetch_max(wish, Ordering::AcqRel) < wish {
            self.tell(via, CutState::Confirmed);
        }
    }

    /// One line has read back its part of the standing cuts.
    pub(crate) fn confirm_line(&self, via: Via, wish: u64) {
        let whole = {
            let mut lines = lock(&self.way(via).lines);
            if lines.wish != wish {
                (lines.wish, lines.read_back) = (wish, 0);
            }
            lines.read_back += 1;
            lines.read_back >= lines.all
        };
        if whole {
            self.confirm(via, wish);
        }
    }
}

impl WayCell {
    /// Counts up with everything that asks for heat to be taken away; 0 is never.
    pub(crate) fn wish(&self) -> u64 {
        let cuts = self.cut.load(Ordering::Acquire).saturating_add(self.repeats.load(Ordering::Acquire));
        cuts.saturating_add(self.lapses.load(Ordering::Acquire))
    }

    /// The wish that was last read back.
    pub(crate) fn done(&self) -> u64 {
        self.done.load(Ordering::Acquire)
    }

    /// Leases that ran out so far.
    pub(crate) fn lapses(&self) -> u64 {
        self.lapses.load(Ordering::Acquire)
    }

    /// When the lease in force ends, if there is one.
    pub(crate) fn lease_until(&self) -> Option<ShopMs> {
        match self.lease_until_ms.load(Ordering::Acquire) {
            0 => None,
            until => Some(ShopMs(until)),
        }
    }

    /// Begins or renews the lease; says whether there was none.
    pub(crate) fn lease(&self, until: ShopMs) -> bool {
        self.lease_until_ms.swap(until.0.max(1), Ordering::AcqRel) == 0
    }

    /// Whom to wake when heat is to be taken away. Only the first call counts.
    pub(crate) fn set_wakes(&self, wakes: Vec<Arc<Notify>>) {
        // A second wiring of the same way is refused by the configuration (two furnaces on one output).
        let _ = self.wakes.set(wakes);
    }

    /// How many lines have a part in the standing cuts.
    pub(crate) fn set_lines(&self, all: usize) {
        lock(&self.lines).all = all;
    }

    /// Whether the host can cut without the guest.
    pub(crate) fn has_standing(&self) -> bool {
        lock(&self.lines).all > 0
    }

    fn wake(&self) {
        for wake in self.wakes.get().into_iter().flatten() {
            wake.notify_one();
        }
    }
}

/// Marks an exchange, or a whole call, that a later cut makes void.
#[derive(Clone, Debug)]
pub(crate) struct Tag {
    cell: Arc<CutCell>,
    via: Via,
    generation: Generation,
    wish: u64,
}

impl Tag {
    /// Whether a cut has overtaken it.
    pub(crate) fn is_void(&self) -> bool {
        self.cell.generation() > self.generation || self.cell.way(self.via).wish() != self.wish
    }
}

/// A request that makes a unit safe. Sending it twice does no harm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct StandingCut {
    pub(crate) request: Vec<u8>,
    pub(crate) reply: Vec<FrameRule>,
    pub(crate) expect: Vec<u8>,
    pub(crate) mask: Vec<u8>,
}

impl StandingCut {
    /// Whether this reply says that the cut was taken.
    pub(crate) fn is_confirmed_by(&self, reply: &[u8]) -> bool {
        reply.len() == self.expect.len()
            && reply.iter().zip(&self.expect).zip(&self.mask).all(|((is, wanted), mask)| is & mask == wanted & mask)
    }
}

/// The standing cuts of a shop: the bytes that make every furnace safe without any driver. Kept on disk between two runs.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct StandingCuts {
    pub(crate) entries: Vec<StandingEntry>,
}

/// What one line has to carry for one furnace.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct StandingEntry {
    pub(crate) furnace: FurnaceId,
    pub(crate) via: Via,
    pub(crate) line: Name,
    pub(crate) cuts: Vec<StandingCut>,
}

impl StandingCuts {
    /// The cuts as bytes for the disk.
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        postcard::to_allocvec(self).expect("plain values always serialize into memory")
    }

    /// The cuts from bytes that [`StandingCuts::to_bytes`] made; nothing if they are not such bytes.
    pub(crate) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        postcard::from_bytes(bytes).ok()
    }

    /// Whether there is nothing to send.
    pub(crate) fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }
}

/// Locks, whatever a panicking thread left behind: all that is guarded here stays sound between two statements.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell() -> Arc<CutCell> {
        Arc::new(CutCell::new(FurnaceId(0), Arc::new(Notify::new())))
    }

    fn cut(generation: u64, via: Via) -> Cut {
        Cut { furnace: FurnaceId(0), generation: Generation(generation), via }
    }

    /// Goal: a cut makes older tags void at once, and the same cut again is no new wish.
    #[test]
    fn a_cut_makes_older_calls_void() {
        let cell = cell();
        let before = cell.tag(Via::Controller);
        assert!(!before.is_void());
        cell.raise(&cut(0, Via::Controller));
        assert!(before.is_void());
        let after = cell.tag(Via::Controller);
        let wish = cell.way(Via::Controller).wish();
        cell.raise(&cut(0, Via::Controller));
        assert_eq!(cell.way(Via::Controller).wish(), wish);
        assert!(!after.is_void());
        cell.raise(&cut(1, Via::Contactor));
        assert!(after.is_void(), "a newer generation by the other way voids it as well");
    }

    /// Goal: a lease lapses once, at its end and not before, and a cut ends it.
    #[test]
    fn a_lease_lapses_once() {
        let cell = cell();
        assert!(cell.way(Via::Controller).lease(ShopMs(300)));
        assert!(!cell.way(Via::Controller).lease(ShopMs(400)));
        assert!(!cell.lapse_if_over(Via::Controller, ShopMs(399)));
        assert!(cell.lapse_if_over(Via::Controller, ShopMs(400)));
        assert!(!cell.lapse_if_over(Via::Controller, ShopMs(500)));
        assert_eq!(cell.way(Via::Controller).wish(), 1);
        cell.way(Via::Controller).lease(ShopMs(900));
        cell.raise(&cut(3, Via::Controller));
        assert!(!cell.lapse_if_over(Via::Controller, ShopMs(1000)));
    }

    /// Goal: standing cuts spread over two lines are confirmed when both have read back the same wish.
    #[test]
    fn all_lines_must_read_back() {
        let cell = cell();
        cell.way(Via::Controller).set_lines(2);
        cell.raise(&cut(1, Via::Controller));
        let wish = cell.way(Via::Controller).wish();
        cell.confirm_line(Via::Controller, wish);
        assert_eq!(cell.told(Via::Controller), None);
        cell.confirm_line(Via::Controller, wish);
        assert_eq!(cell.told(Via::Controller), Some((Generation(1), CutState::Confirmed)));
        assert_eq!(cell.way(Via::Controller).done(), wish);
    }

    /// Goal: a cut that is asked for again after it was read back is carried out again; before that it is under way. What one way says
    /// is not lost under the other's word.
    #[test]
    fn a_cut_that_did_not_help_is_a_new_wish() {
        let cell = cell();
        cell.raise(&cut(1, Via::Controller));
        let wish = cell.way(Via::Controller).wish();
        cell.raise(&cut(1, Via::Controller));
        assert_eq!(cell.way(Via::Controller).wish(), wish, "it is under way");
        cell.confirm(Via::Controller, wish);
        cell.raise(&cut(1, Via::Controller));
        assert_eq!(cell.way(Via::Controller).wish(), wish + 1);
        assert!(cell.way(Via::Controller).done() <= wish, "it is owed again");
        cell.tell_sent(Via::Contactor);
        assert_eq!(cell.told(Via::Controller), Some((Generation(1), CutState::Confirmed)));
        assert_eq!(cell.told(Via::Contactor), Some((Generation(1), CutState::Sent)));
    }

    /// Goal: only a reply of the right length that agrees under the mask confirms.
    #[test]
    fn a_reply_confirms_under_its_mask() {
        let cut = StandingCut { request: vec![1], reply: Vec::new(), expect: vec![0, 7, 0x10], mask: vec![0, 0xFF, 0xF0] };
        assert!(cut.is_confirmed_by(&[9, 7, 0x1F]));
        assert!(!cut.is_confirmed_by(&[9, 7, 0x2F]));
        assert!(!cut.is_confirmed_by(&[9, 7]));
    }

    /// Goal: what is kept on disk comes back, and other bytes are refused rather than believed.
    #[test]
    fn standing_cuts_survive_the_disk() {
        let cuts = StandingCuts {
            entries: vec![StandingEntry {
                furnace: FurnaceId(2),
                via: Via::Contactor,
                line: "io".parse().expect("a name"),
                cuts: vec![StandingCut { request: vec![1, 2], reply: Vec::new(), expect: vec![3], mask: vec![255] }],
            }],
        };
        assert_eq!(StandingCuts::from_bytes(&cuts.to_bytes()), Some(cuts));
        assert_eq!(StandingCuts::from_bytes(&[0xFF; 7]), None);
    }
}
