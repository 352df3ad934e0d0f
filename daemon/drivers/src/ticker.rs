//! The thread that counts time for running guests: without its ticks an endless loop would never be interrupted.
//!
//! It sleeps while no guest runs, so that an idle shop costs nothing, and its count of ticks can be watched.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::thread::{JoinHandle, Thread};
use std::time::Duration;

/// One tick: short enough that a budget of some ticks ends a runaway within a scan, long enough to cost nothing.
pub(crate) const TICK: Duration = Duration::from_millis(1);

/// Ticks that the thread stays awake after the last guest began to run: a poll is a string of short runs, none of which need meet a
/// tick, and whoever wakes the thread pays for it between a reply and the next request.
const LINGER_TICKS: u32 = 3;

/// The running thread; ends with the value.
#[derive(Debug)]
pub(crate) struct Ticker {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    running: AtomicUsize,
    /// How often a guest began to run.
    runs: AtomicUsize,
    parked: AtomicBool,
    ended: AtomicBool,
    ticks: AtomicU64,
}

/// A way to say that a guest runs.
#[derive(Clone, Debug)]
pub(crate) struct TickerHandle {
    shared: Arc<Shared>,
    thread: Thread,
}

/// While it lives, ticks come.
#[derive(Debug)]
pub(crate) struct Running(Arc<Shared>);

impl Ticker {
    /// Starts the thread; `tick` is called once a tick while a guest runs.
    pub(crate) fn start(tick: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let shared = Arc::new(Shared {
            running: AtomicUsize::new(0),
            runs: AtomicUsize::new(0),
            parked: AtomicBool::new(false),
            ended: AtomicBool::new(false),
            ticks: AtomicU64::new(0),
        });
        let its = Arc::clone(&shared);
        let thread = std::thread::Builder::new().name("ticker".into()).stack_size(64 * 1024).spawn(move || its.run(&tick))?;
        Ok(Self { shared, thread: Some(thread) })
    }

    pub(crate) fn handle(&self) -> Option<TickerHandle> {
        let thread = self.thread.as_ref()?.thread().clone();
        Some(TickerHandle { shared: Arc::clone(&self.shared), thread })
    }

    /// Ticks so far, and whether a guest runs now: a count that stands still while one runs means that containment has stopped.
    pub(crate) fn heartbeat(&self) -> (u64, bool) {
        (self.shared.ticks.load(Ordering::Relaxed), self.shared.running.load(Ordering::Acquire) > 0)
    }
}

impl Drop for Ticker {
    fn drop(&mut self) {
        self.shared.ended.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            // Its only work cannot fail; a panic in it has been printed already.
            let _ = thread.join();
        }
    }
}

impl TickerHandle {
    /// A guest begins to run.
    pub(crate) fn run(&self) -> Running {
        self.shared.runs.fetch_add(1, Ordering::Relaxed);
        self.shared.running.fetch_add(1, Ordering::SeqCst);
        if self.shared.parked.swap(false, Ordering::SeqCst) {
            self.thread.unpark();
        }
        Running(Arc::clone(&self.shared))
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.0.running.fetch_sub(1, Ordering::SeqCst);
    }
}

impl Shared {
    fn run(&self, tick: &impl Fn()) {
        let (mut idle, mut seen) = (0, 0);
        while !self.ended.load(Ordering::Acquire) {
            std::thread::sleep(TICK);
            tick();
            self.ticks.fetch_add(1, Ordering::Relaxed);
            let runs = self.runs.load(Ordering::Relaxed);
            idle = if runs != seen || self.running.load(Ordering::SeqCst) > 0 { 0 } else { idle + 1 };
            seen = runs;
            if idle >= LINGER_TICKS {
                self.park();
                idle = 0;
            }
        }
    }

    fn park(&self) {
        self.parked.store(true, Ordering::SeqCst);
        // A guest that began before `parked` was set has not unparked: look again before sleeping.
        while self.parked.load(Ordering::SeqCst)
            && self.running.load(Ordering::SeqCst) == 0
            && !self.ended.load(Ordering::Acquire)
        {
            std::thread::park();
        }
        self.parked.store(false, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: ticks come while something runs and stop when nothing does. Bounds are generous: only their order is asserted.
    #[test]
    fn it_ticks_only_while_something_runs() {
        let ticker = Ticker::start(|| {}).expect("a thread");
        let running = ticker.handle().expect("it was just started").run();
        while ticker.heartbeat().0 < 5 {
            std::thread::yield_now();
        }
        drop(running);
        while !ticker.shared.parked.load(Ordering::SeqCst) {
            std::thread::yield_now();
        }
        let at_rest = ticker.heartbeat();
        std::thread::sleep(TICK * 20);
        assert_eq!(ticker.heartbeat(), at_rest);
        let _again = ticker.handle().expect("it still runs").run();
        while ticker.heartbeat().0 <= at_rest.0 {
            std::thread::yield_now();
        }
    }
}
