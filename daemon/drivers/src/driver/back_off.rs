//! When a broken driver is rebuilt: at first soon, then ever later, so that one that breaks at once costs next to nothing.

use std::time::Duration;

use hearthward_equipment::ShopMs;

/// The first pause: two scans, so that others see the silence and the evidence is written before it comes back.
const FIRST: Duration = Duration::from_millis(200);

/// The longest pause: a driver that a person has just mended is back before he looks for another cause.
const LONGEST: Duration = Duration::from_secs(60);

/// A driver that ran so long without breaking is taken for sound again.
const SOUND_AFTER: Duration = Duration::from_secs(60);

/// The state of it.
#[derive(Debug)]
pub(crate) struct BackOff {
    pause: Duration,
    until: ShopMs,
    built_at: ShopMs,
}

impl BackOff {
    pub(crate) fn new() -> Self {
        Self { pause: FIRST, until: ShopMs(0), built_at: ShopMs(0) }
    }

    /// It broke; says when it may be rebuilt.
    pub(crate) fn broke(&mut self, now: ShopMs) -> ShopMs {
        if now.since(self.built_at) >= SOUND_AFTER {
            self.pause = FIRST;
        }
        self.until = now + self.pause;
        self.pause = (self.pause * 2).min(LONGEST);
        self.until
    }

    /// It was rebuilt.
    pub(crate) fn built(&mut self, now: ShopMs) {
        self.built_at = now;
    }

    /// Whether it may be rebuilt now.
    pub(crate) fn is_over(&self, now: ShopMs) -> bool {
        now >= self.until
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: pauses grow to their bound, and shrink again only after a sound run.
    #[test]
    fn pauses_grow_until_a_sound_run() {
        let mut back_off = BackOff::new();
        let mut now = ShopMs(1000);
        let mut last = Duration::ZERO;
        for _ in 0..12 {
            let until = back_off.broke(now);
            assert!(!back_off.is_over(now) && back_off.is_over(until));
            assert!(until.since(now) >= last && until.since(now) <= LONGEST);
            last = until.since(now);
            now = until;
            back_off.built(now);
        }
        assert_eq!(last, LONGEST);
        assert_eq!(back_off.broke(now + SOUND_AFTER).since(now + SOUND_AFTER), FIRST);
    }
}
