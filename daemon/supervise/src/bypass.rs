//! Bypasses: an interlock that a person has taken out of force for a time, with a reason, where the configuration is open to it.
//!
//! ```text
//! asked ──refused: not marked, no reason, too long──▶ (nothing)
//!   └─written──▶ waits for the disk ──durable──▶ in force ──restored, lapsed, no longer marked──▶ (gone)
//! ```
//!
//! Widening waits for the disk; restoring and lapsing act at once. A span only ever shrinks: by the shop's clock, by time away, and
//! by a wall clock that ran ahead of the shop's. Time away that nobody knows ends it.

use std::time::Duration;

use hearthward_equipment::Tick;
use serde::{Deserialize, Serialize};

use crate::interlock::InterlockKind;

/// How long a bypass lasts unless the person says otherwise: one shift (common practice, no source).
pub const BYPASS_USUAL: Duration = Duration::from_secs(8 * 3600);

/// The longest bypass: a day, so that each day somebody decides anew (common practice, no source).
pub const BYPASS_MOST: Duration = Duration::from_secs(24 * 3600);

/// One interlock of one furnace, bypassed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Bypass {
    pub(crate) kind: InterlockKind,
    pub(crate) person: String,
    pub(crate) reason: String,
    /// How much longer it lasts.
    pub(crate) left_ms: u64,
    /// The tick that decided it: it is in force when that is on disk. What was read back from disk is.
    #[serde(skip)]
    pub(crate) decided: Tick,
}

impl Bypass {
    /// Whether it is in force.
    pub(crate) fn is_in_force(&self, durable: Tick) -> bool {
        self.left_ms > 0 && durable >= self.decided
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.left_ms << 8 | self.kind as u64
    }
}

/// The bypasses of one furnace, at most one an interlock.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Bypasses {
    list: Vec<Bypass>,
}

impl Bypasses {
    /// Adds one, in place of none: the caller has looked.
    pub(crate) fn add(&mut self, bypass: Bypass) {
        debug_assert!(self.find(bypass.kind).is_none(), "one interlock has one bypass");
        self.list.push(bypass);
    }

    /// The bypass of an interlock.
    pub(crate) fn find(&self, kind: InterlockKind) -> Option<&Bypass> {
        self.list.iter().find(|bypass| bypass.kind == kind)
    }

    /// Ends one.
    pub(crate) fn end(&mut self, kind: InterlockKind) -> Option<Bypass> {
        let place = self.list.iter().position(|bypass| bypass.kind == kind)?;
        Some(self.list.remove(place))
    }

    /// Ends one whose time is over or that the configuration is not open to any more.
    pub(crate) fn lapsed(&mut self, open_to: &[InterlockKind]) -> Option<Bypass> {
        let place = self.list.iter().position(|bypass| bypass.left_ms == 0 || !open_to.contains(&bypass.kind))?;
        Some(self.list.remove(place))
    }

    /// Lets time pass; all of it if nobody knows how much.
    pub(crate) fn pass(&mut self, span_ms: Option<u64>) {
        for bypass in &mut self.list {
            bypass.left_ms = span_ms.map_or(0, |span_ms| bypass.left_ms.saturating_sub(span_ms));
        }
    }

    /// All of them.
    pub(crate) fn list(&self) -> &[Bypass] {
        &self.list
    }

    /// What is kept across a restart: ticks of this run mean nothing in the next.
    pub(crate) fn stood(&self) -> Self {
        let mut stood = self.clone();
        stood.list.iter_mut().for_each(|bypass| bypass.decided = Tick(0));
        stood
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MARKED: [InterlockKind; 1] = [InterlockKind::RunTimeLimit];

    fn one(left_ms: u64) -> Bypasses {
        let mut all = Bypasses::default();
        let kind = InterlockKind::RunTimeLimit;
        all.add(Bypass { kind, person: "ada".into(), reason: "a long temper".into(), left_ms, decided: Tick(5) });
        all
    }

    #[test]
    fn it_lasts_a_shift_unless_said_otherwise_and_a_day_at_most() {
        assert_eq!((BYPASS_USUAL.as_secs(), BYPASS_MOST.as_secs()), (28_800, 86_400));
    }

    #[test]
    fn it_waits_for_the_disk_and_ends_with_its_time() {
        let mut all = one(1_000);
        let in_force = |all: &Bypasses, durable| all.list()[0].is_in_force(Tick(durable));
        assert_eq!((in_force(&all, 4), in_force(&all, 5)), (false, true));
        all.pass(Some(999));
        assert_eq!((in_force(&all, 5), all.clone().lapsed(&MARKED)), (true, None));
        all.pass(Some(1));
        assert_eq!((in_force(&all, 5), all.list()[0].bits()), (false, InterlockKind::RunTimeLimit as u64));
        assert!(all.lapsed(&MARKED).is_some());
        assert_eq!((all.list().len(), all.lapsed(&MARKED)), (0, None));
    }

    #[test]
    fn it_is_found_and_ended_by_its_interlock() {
        let mut all = one(1_000);
        assert_eq!(all.find(InterlockKind::RunTimeLimit), all.list().first());
        assert_eq!((all.find(InterlockKind::DriverLost).cloned(), all.end(InterlockKind::DriverLost)), (None, None));
        assert_eq!(all.end(InterlockKind::RunTimeLimit).map(|bypass| bypass.left_ms), Some(1_000));
        assert_eq!(all, Bypasses::default());
    }

    #[test]
    fn what_was_kept_is_on_disk() {
        let stood = one(3).stood();
        assert!(stood.list()[0].is_in_force(Tick(0)));
        assert_eq!(stood.list()[0].bits(), 3 << 8 | InterlockKind::RunTimeLimit as u64);
    }

    #[test]
    fn unknown_time_and_an_interlock_that_is_not_open_to_it_end_it() {
        let mut all = one(u64::MAX);
        assert!(all.clone().lapsed(&[]).is_some());
        all.pass(None);
        assert!(all.lapsed(&MARKED).is_some());
    }
}
