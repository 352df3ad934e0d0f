//! The watchdog: a thread that shares nothing with what it watches but two counters.
//!
//! It watches that the core turns and that the clockwork that interrupts runaway drivers ticks. While both do, it tells the service
//! manager so, if there is one that wants to know. When one stands still it sends the standing cuts on connections of its own,
//! says so and ends the process: leases have lapsed by then, contactors that wait for a heartbeat drop, and a service manager
//! starts anew.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::{JoinHandle, park_timeout};
use std::time::Duration;

use hearthward_drivers::Heartbeat;

/// How often it looks. A quarter of the shortest time that service managers are usually given.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Looks without progress that count as a standstill: five seconds. The core turns ten times in each second, and leases lapse
/// after a third of one without it; but a computer that is short of everything for a moment is no reason to end.
const LOOKS_MOST: u32 = 10;

/// The core's count of turns.
#[derive(Clone, Debug, Default)]
pub struct Beat(Arc<AtomicU64>);

/// In place of the count: there will be no more turns, and that is in order.
const ENDED: u64 = u64::MAX;

impl Beat {
    /// One turn more.
    pub fn count(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    /// The core has ended in order.
    pub fn end(&self) {
        self.0.store(ENDED, Ordering::Relaxed);
    }
}

/// What is known of the two at one look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Look {
    turns: u64,
    clockwork: Heartbeat,
}

/// How long each has stood still.
#[derive(Debug, Default)]
struct Judge {
    last: Option<Look>,
    core_still: u32,
    clockwork_still: u32,
}

impl Judge {
    /// Says what stands still, if something does.
    fn judge(&mut self, look: Look) -> Option<&'static str> {
        let last = self.last.replace(look)?;
        let core_still = last.turns == look.turns && look.turns != ENDED;
        // A clockwork without a guest to interrupt may rest.
        let clockwork_still = last.clockwork == look.clockwork && look.clockwork.running;
        self.core_still = if core_still { self.core_still + 1 } else { 0 };
        self.clockwork_still = if clockwork_still { self.clockwork_still + 1 } else { 0 };
        if self.core_still >= LOOKS_MOST {
            return Some("the core does not turn");
        }
        (self.clockwork_still >= LOOKS_MOST).then_some("nothing interrupts drivers that do not end")
    }

    /// Whether both have moved since the last look.
    fn all_well(&self) -> bool {
        self.core_still == 0 && self.clockwork_still == 0
    }
}

/// The running thread; ends with the value.
#[derive(Debug)]
pub struct Watchdog {
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Watchdog {
    /// Starts it. `stands_still` is called once, from its thread, with what does.
    ///
    /// # Errors
    /// What the system says if it gives no thread.
    pub fn start(
        beat: Beat,
        clockwork: impl Fn() -> Heartbeat + Send + 'static,
        stands_still: impl FnOnce(&'static str) + Send + 'static,
    ) -> std::io::Result<Self> {
        let ended = Arc::new(AtomicBool::new(false));
        let its = Arc::clone(&ended);
        let look = move || Look { turns: beat.0.load(Ordering::Relaxed), clockwork: clockwork() };
        let thread = std::thread::Builder::new().name("watchdog".to_owned()).stack_size(256 << 10);
        let thread = thread.spawn(move || {
            if let Some(what) = watch(&its, look) {
                stands_still(what);
            }
        })?;
        Ok(Self { ended, thread: Some(thread) })
    }
}

impl Drop for Watchdog {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            // Its only work cannot fail; a panic in it has been printed already.
            let _ = thread.join();
        }
    }
}

fn watch(ended: &AtomicBool, look: impl Fn() -> Look) -> Option<&'static str> {
    let mut judge = Judge::default();
    while !ended.load(Ordering::Acquire) {
        if let Some(what) = judge.judge(look()) {
            return Some(what);
        }
        if judge.all_well() {
            // Without a service manager this does nothing; one that cannot be told acts on the silence.
            let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
        }
        park_timeout(LOOK_EVERY);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(turns: u64, ticks: u64, running: bool) -> Look {
        Look { turns, clockwork: Heartbeat { ticks, running } }
    }

    /// Judges looks until something stands still; says at which, and what.
    fn first(looks: impl Iterator<Item = Look>) -> Option<(usize, &'static str)> {
        let mut judge = Judge::default();
        looks.enumerate().find_map(|(at, look)| judge.judge(look).map(|what| (at, what)))
    }

    /// Goal: a core that stops is found after so many looks, one that stumbles or has ended in order is not.
    #[test]
    fn a_core_that_stands_still_is_found() {
        let most = u64::from(LOOKS_MOST);
        let stops = (0..50).map(|at: u64| look(at.min(5), at, true));
        assert_eq!(first(stops), Some(((5 + most) as usize, "the core does not turn")));
        let stumbles = (0..100).map(|at| look(at / most, at, true));
        assert_eq!(first(stumbles), None);
        let ends = (0..50).map(|at| look(if at < 5 { at } else { ENDED }, at, true));
        assert_eq!(first(ends), None);
    }

    /// Goal: a clockwork that stops under a running guest is found, one that rests without a guest is not.
    #[test]
    fn a_clockwork_that_stands_still_is_found() {
        let stops = (0..50).map(|at| look(at, 7, true));
        assert_eq!(first(stops), Some((LOOKS_MOST as usize, "nothing interrupts drivers that do not end")));
        let rests = (0..50).map(|at| look(at, 7, false));
        assert_eq!(first(rests), None);
    }

    /// Goal: the thread says what stands still, and one that is dropped while all is well ends without a word.
    #[test]
    fn the_thread_says_so_once() {
        let (tell, told) = std::sync::mpsc::channel();
        let clockwork = || Heartbeat { ticks: 0, running: false };
        let well = Beat::default();
        well.end();
        let its = tell.clone();
        drop(Watchdog::start(well, clockwork, move |what| its.send(what).expect("somebody listens")));
        let _stands = Watchdog::start(Beat::default(), clockwork, move |what| tell.send(what).expect("somebody listens"));
        assert_eq!(told.iter().collect::<Vec<_>>(), ["the core does not turn"]);
    }
}
