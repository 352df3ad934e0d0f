//! One alarm: its state, what is heard of its cause after delays, and who put it aside.

use hearthward_equipment::ShopMs;
use serde::{Deserialize, Serialize};

use super::{AlarmState, Condition, Delays, Happening};

/// An alarm. Times in it are spans, so that they survive a restart.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Alarm {
    state: AlarmState,
    /// How its cause stands after delays.
    heard: Condition,
    /// For how long the cause has stood otherwise than was heard, in milliseconds.
    differs_ms: Option<u64>,
    /// It was the first of its group.
    first: bool,
    aside: Option<Box<Aside>>,
    /// By the clock of this run; of one that is kept across a restart, how long it has been so.
    since: ShopMs,
}

/// Who put an alarm aside, and why.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Aside {
    /// Who.
    pub person: String,
    /// Why.
    pub reason: String,
    /// How much of its time is left, in milliseconds; absent when it is out of service.
    pub left_ms: Option<u64>,
}

/// What an alarm made of a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Nothing new.
    Same,
    /// Its cause was seen for the first time; it may be delayed.
    Begins,
    /// It is in another state than before.
    Changed(AlarmState),
}

impl Alarm {
    /// Nothing stands, nothing is pending and nobody has put it aside.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.state == AlarmState::Normal && self.heard == Condition::Clear && self.differs_ms.is_none()
    }

    /// Takes how the cause stands in this tick. A cause counts when it has stood for its delay; what latches counts at once.
    pub fn hear(&mut self, now: ShopMs, dt_ms: u64, is: Condition, delays: Delays) -> Heard {
        if is == self.heard {
            if self.differs_ms.take().is_some() && self.state == AlarmState::Normal {
                self.first = false;
            }
            return Heard::Same;
        }
        let begins = self.differs_ms.is_none() && self.heard == Condition::Clear;
        let for_ms = self.differs_ms.map_or(0, |for_ms| for_ms.saturating_add(dt_ms));
        let delay = match (self.heard, is) {
            (Condition::Clear, Condition::Active) => delays.on,
            (Condition::Active, Condition::Clear) => delays.off,
            _ => std::time::Duration::ZERO,
        };
        if u128::from(for_ms) < delay.as_millis() {
            self.differs_ms = Some(for_ms);
            return if begins { Heard::Begins } else { Heard::Same };
        }
        (self.heard, self.differs_ms) = (is, None);
        self.go(now, Happening::Is(is)).map_or(Heard::Same, Heard::Changed)
    }

    /// A person says that they know. Says what it was before.
    pub fn acknowledge(&mut self, now: ShopMs) -> Option<AlarmState> {
        self.go(now, Happening::Acknowledge)
    }

    /// A person puts it aside for a time. One that is shelved already may only come back sooner.
    pub fn shelve(&mut self, now: ShopMs, aside: Aside) -> Option<AlarmState> {
        if let (AlarmState::Shelved, Some(known)) = (self.state, &mut self.aside) {
            let sooner = aside.left_ms < known.left_ms;
            if sooner {
                **known = aside;
            }
            return sooner.then_some(AlarmState::Shelved);
        }
        let was = self.go(now, Happening::Shelve)?;
        self.aside = Some(Box::new(aside));
        Some(was)
    }

    /// A person takes it out of service.
    pub fn take_out(&mut self, now: ShopMs, aside: Aside) -> Option<AlarmState> {
        let was = self.go(now, Happening::TakeOut)?;
        self.aside = Some(Box::new(aside));
        Some(was)
    }

    /// It comes back, and says again what stands.
    pub fn bring_back(&mut self, now: ShopMs) -> Option<AlarmState> {
        let was = self.go(now, Happening::Return(self.heard))?;
        self.aside = None;
        Some(was)
    }

    /// Lets the time of a shelved alarm pass. Says whether it is over.
    pub fn pass(&mut self, dt_ms: u64) -> bool {
        let Some(left_ms) = self.aside.as_mut().and_then(|aside| aside.left_ms.as_mut()) else { return false };
        *left_ms = left_ms.saturating_sub(dt_ms);
        *left_ms == 0
    }

    /// Goes on in a later run: time away counts, and nobody knows how much when it is not known.
    pub(crate) fn begin_again(&mut self, since: ShopMs, away_ms: Option<u64>) {
        (self.since, self.differs_ms) = (since, None);
        if let Some(left_ms) = self.aside.as_mut().and_then(|aside| aside.left_ms.as_mut()) {
            *left_ms = left_ms.saturating_sub(away_ms.unwrap_or(u64::MAX));
        }
    }

    /// Marks it as the first of its group.
    pub(crate) fn mark_first(&mut self) {
        self.first = true;
    }

    /// Its state.
    #[must_use]
    pub fn state(&self) -> AlarmState {
        self.state
    }

    /// Whether it was the first of its group.
    #[must_use]
    pub fn is_first(&self) -> bool {
        self.first
    }

    /// Since when it is in its state.
    #[must_use]
    pub fn since(&self) -> ShopMs {
        self.since
    }

    /// Who put it aside, if anybody did.
    #[must_use]
    pub fn aside(&self) -> Option<&Aside> {
        self.aside.as_deref()
    }

    /// It is told now, or its cause waits for its delay.
    pub(crate) fn is_about(&self) -> bool {
        self.state.stands() || (self.state == AlarmState::Normal && !self.is_quiet())
    }

    /// All of it in one number, for the digest.
    pub(crate) fn bits(&self) -> u64 {
        let left_ms = self.aside.as_ref().and_then(|aside| aside.left_ms).unwrap_or(0);
        self.state as u64
            | (self.heard as u64) << 4
            | u64::from(self.first) << 6
            | self.differs_ms.map_or(0, |for_ms| for_ms + 1) << 8
            | left_ms.rotate_left(40)
    }

    fn go(&mut self, now: ShopMs, what: Happening) -> Option<AlarmState> {
        let next = self.state.next(what)?;
        let was = std::mem::replace(&mut self.state, next);
        self.since = now;
        if next == AlarmState::Normal || next.is_aside() {
            self.first = false;
        }
        Some(was)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use Condition::{Active, Clear, Latched};

    const T: ShopMs = ShopMs(0);
    const SLOW: Delays = Delays { on: Duration::from_secs(5), off: Duration::from_secs(10) };

    fn aside(left_ms: Option<u64>) -> Aside {
        Aside { person: "ada".to_owned(), reason: "the switch is being changed".to_owned(), left_ms }
    }

    #[test]
    fn a_cause_that_chatters_is_told_once() {
        let mut alarm = Alarm::default();
        let mut changes = 0;
        for tick in 0..200_u64 {
            let is = if tick % 4 == 3 { Clear } else { Active };
            changes += u32::from(matches!(alarm.hear(T, 1_000, is, Delays { on: Duration::ZERO, ..SLOW }), Heard::Changed(_)));
        }
        assert_eq!((changes, alarm.state()), (1, AlarmState::Unacknowledged));
    }

    #[test]
    fn a_cause_shorter_than_its_delay_is_never_told() {
        let mut alarm = Alarm::default();
        assert_eq!(alarm.hear(T, 1_000, Active, SLOW), Heard::Begins);
        for _ in 0..4 {
            assert_eq!(alarm.hear(T, 1_000, Active, SLOW), Heard::Same);
        }
        alarm.hear(T, 1_000, Clear, SLOW);
        assert!(alarm.is_quiet() && !alarm.is_first());
    }

    #[test]
    fn a_delay_counts_from_the_first_sight() {
        let mut alarm = Alarm::default();
        let told = (0..20).position(|_| alarm.hear(T, 1_000, Active, SLOW) == Heard::Changed(AlarmState::Normal));
        assert_eq!(told, Some(5), "seen first at 0 s, told at 5 s");
    }

    #[test]
    fn what_latches_waits_for_no_delay() {
        let mut alarm = Alarm::default();
        assert_eq!(alarm.hear(T, 1, Latched, SLOW), Heard::Changed(AlarmState::Normal));
        assert_eq!(alarm.state(), AlarmState::LatchedUnacknowledged);
    }

    #[test]
    fn a_shelf_only_shrinks_and_ends() {
        let mut alarm = Alarm::default();
        alarm.hear(T, 0, Latched, SLOW);
        assert!(alarm.shelve(T, aside(Some(10_000))).is_some());
        assert!(alarm.shelve(T, aside(Some(10_000))).is_none(), "not longer, and not the same again");
        assert!(alarm.shelve(T, aside(Some(9_000))).is_some());
        assert!(!alarm.pass(8_999));
        assert!(alarm.pass(1));
        assert_eq!(alarm.bring_back(T), Some(AlarmState::Shelved));
        assert_eq!((alarm.state(), alarm.aside()), (AlarmState::LatchedUnacknowledged, None), "the latch is told again");
    }

    #[test]
    fn time_away_counts_on_a_shelf_and_unknown_time_ends_it() {
        let mut alarm = Alarm::default();
        alarm.shelve(T, aside(Some(60_000)));
        let mut known = alarm.clone();
        known.begin_again(T, Some(20_000));
        assert_eq!(known.aside().and_then(|aside| aside.left_ms), Some(40_000));
        alarm.begin_again(T, None);
        assert!(alarm.pass(0));
    }

    #[test]
    fn out_of_service_has_no_end_of_its_own() {
        let mut alarm = Alarm::default();
        alarm.take_out(T, aside(None));
        assert!(!alarm.pass(u64::MAX));
        assert_eq!(alarm.hear(T, 0, Active, Delays::default()), Heard::Same);
        assert_eq!(alarm.bring_back(T), Some(AlarmState::OutOfService));
        assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    }
}
