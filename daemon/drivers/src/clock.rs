//! The shop's clock: real time since the start, or steps that a demonstration takes.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use hearthward_equipment::ShopMs;

/// The one clock that readings, leases and drivers go by. Clones show the same time.
#[derive(Clone, Debug)]
pub struct ShopClock(Kind);

#[derive(Clone, Debug)]
enum Kind {
    Real(Instant),
    Stepped(Arc<AtomicU64>),
}

impl ShopClock {
    /// A clock that runs as real time runs, from zero now.
    #[must_use]
    pub fn real() -> Self {
        Self(Kind::Real(Instant::now()))
    }

    /// A clock that stands still until [`ShopClock::step_to`].
    #[must_use]
    pub fn stepped() -> Self {
        Self(Kind::Stepped(Arc::new(AtomicU64::new(0))))
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> ShopMs {
        match &self.0 {
            Kind::Real(start) => ShopMs(u64::try_from(start.elapsed().as_millis()).unwrap_or(u64::MAX)),
            Kind::Stepped(now) => ShopMs(now.load(Ordering::Acquire)),
        }
    }

    /// Whether it is stepped.
    #[must_use]
    pub fn is_stepped(&self) -> bool {
        matches!(self.0, Kind::Stepped(_))
    }

    /// Sets a stepped clock forward; it never goes back, and a real clock takes no notice.
    pub fn step_to(&self, to: ShopMs) {
        if let Kind::Stepped(now) = &self.0 {
            now.fetch_max(to.0, Ordering::AcqRel);
        }
    }

    /// How long to wait in real time until the clock shows `then`; a stepped clock does not say.
    pub(crate) fn until(&self, then: ShopMs) -> Option<Duration> {
        match self.0 {
            Kind::Real(_) => Some(then.since(self.now())),
            Kind::Stepped(_) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: a stepped clock is shared by its clones and never goes back.
    #[test]
    fn a_stepped_clock_only_goes_forward() {
        let clock = ShopClock::stepped();
        let other = clock.clone();
        clock.step_to(ShopMs(500));
        clock.step_to(ShopMs(200));
        assert_eq!(other.now(), ShopMs(500));
        assert!(other.until(ShopMs(900)).is_none());
    }
}
