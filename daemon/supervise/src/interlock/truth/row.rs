//! A row and the latch in it: every verdict in every state, under every bypass.

use std::time::Duration;

use hearthward_equipment::ShopMs;

use super::super::row::{Change, Rows, Verdict};
use super::super::{For, InterlockKind, entry};
use super::{Why, every};
use crate::view::InterlockState::{Clear, Latched, Tripped};
use InterlockKind::{DoorOpen, OverTemperature, PurgeFlow, SensorFault};

/// What is remembered of a row beside it.
#[derive(Clone, Copy, Debug, Default)]
struct Ledger {
    cause: bool,
    owed: bool,
    off: bool,
    bypassed: Option<bool>,
}

impl Ledger {
    /// "A trip latches where the table says reset", unless a bypass was in force; heat stays off with the latch.
    fn step(&mut self, verdict: Verdict) -> Option<Change> {
        let before = *self;
        let off = verdict.cause && verdict.off;
        self.cause = verdict.cause;
        self.owed = before.owed || (verdict.cause && verdict.latch && before.bypassed.is_none());
        self.off = if self.owed { before.off || off } else { off };
        let new_cause = self.cause && !before.cause;
        let new_latch = self.owed && !before.owed;
        let cleared = (before.cause || before.owed) && !(self.cause || self.owed);
        match (new_cause || new_latch, cleared) {
            (true, _) => Some(Change::Tripped),
            (false, true) => Some(Change::Cleared),
            (false, false) => None,
        }
    }

    /// "No heat command while a cause … stands or is latched"; a bypass lets heat through, unless it holds the cause all the same.
    fn withholds(&self) -> bool {
        match self.bypassed {
            None => self.off,
            Some(holds) => holds && self.cause && self.off,
        }
    }

    fn agrees(&self, rows: &Rows) {
        let row = rows.row(DoorOpen);
        assert_eq!((row.cause(), row.is_latched(), row.withholds()), (self.cause, self.owed, self.withholds()), "{self:?}");
        assert_eq!((rows.withhold(), row.is_bypassed()), (self.withholds(), self.bypassed.is_some()), "{self:?}");
        assert_eq!(rows.withhold_until_reset(), self.owed && self.withholds(), "{self:?}");
        let state = match (self.cause, self.owed) {
            (true, _) => Tripped,
            (false, true) => Latched,
            (false, false) => Clear,
        };
        assert_eq!((row.state(), rows.stands(DoorOpen)), (state, self.cause || self.owed), "{self:?}");
        // It is alone in its group.
        let bits = [self.cause, self.owed, self.off, self.cause || self.owed].map(u64::from);
        let bypassed = u64::from(self.bypassed.is_some());
        assert_eq!(row.bits(), bits[0] + 2 * bits[1] + 4 * bits[2] + 8 * bits[3] + 256 * bypassed, "{self:?}");
    }
}

#[test]
fn every_verdict_in_every_state() {
    every(|[cause, latch, off, next_cause, next_latch, next_off, bypassed, holds, last_cause, last_latch, last_off]| {
        let verdict = |cause, latch, off| Verdict { cause, latch, off, why: Why::Main };
        let (mut rows, mut ledger) = (Rows::default(), Ledger::default());
        let step = |rows: &mut Rows, ledger: &mut Ledger, verdict| {
            assert_eq!(rows.step(DoorOpen, ShopMs(0), verdict), ledger.step(verdict), "{verdict:?}");
            ledger.agrees(rows);
        };
        step(&mut rows, &mut ledger, verdict(cause, latch, off));
        step(&mut rows, &mut ledger, verdict(next_cause, next_latch, next_off));
        ledger.bypassed = bypassed.then_some(holds);
        rows.bypass(DoorOpen, ledger.bypassed);
        ledger.agrees(&rows);
        step(&mut rows, &mut ledger, verdict(last_cause, last_latch, last_off));
        // "Reset needs the cause gone".
        let can = ledger.owed && !ledger.cause;
        assert_eq!(rows.reset(DoorOpen, ShopMs(0)), can);
        ledger = if can { Ledger { bypassed: ledger.bypassed, ..Ledger::default() } } else { ledger };
        ledger.agrees(&rows);
    });
}

#[test]
fn a_row_keeps_since_when_it_stands_and_why_it_tripped_first() {
    let mut rows = Rows::default();
    let door = |rows: &mut Rows, at_ms, verdict: Verdict| {
        rows.step(DoorOpen, ShopMs(at_ms), verdict);
        let row = rows.row(DoorOpen);
        (row.since(), row.stood(), row.why())
    };
    let (since, main) = (ShopMs(3_000), Why::Main);
    let first = Verdict::latched(true).because(Why::Third);
    assert_eq!(door(&mut rows, 3_000, first), (since, Duration::from_secs(3), Why::Third));
    let more = Verdict::latched(true).because(Why::Other);
    assert_eq!(door(&mut rows, 4_000, more), (since, Duration::from_secs(3), Why::Third), "the first reason is kept");
    assert_eq!(rows.row(DoorOpen).bits() >> 4 & 0xf, 2, "and is in the digest");
    assert_eq!(door(&mut rows, 5_000, Verdict::latched(false)), (ShopMs(5_000), Duration::from_secs(2), Why::Third));
    rows.bypass(DoorOpen, Some(false));
    assert!(rows.reset(DoorOpen, ShopMs(6_000)));
    let row = rows.row(DoorOpen);
    assert_eq!((row.since(), row.stood(), row.why()), (ShopMs(6_000), Duration::ZERO, main));
    assert!(row.is_bypassed(), "a reset ends no bypass");
    door(&mut rows, 8_000, Verdict::off(true));
    rows.begin_again(ShopMs(1));
    let row = rows.row(DoorOpen);
    assert_eq!(
        (row.since(), row.stood(), row.state()),
        (ShopMs(1), Duration::ZERO, Tripped),
        "times of an earlier run mean nothing"
    );
}

#[test]
fn one_row_is_the_first_of_its_group() {
    let mut rows = Rows::default();
    let first = |rows: &Rows| InterlockKind::ALL.into_iter().filter(|&kind| rows.row(kind).is_first()).collect::<Vec<_>>();
    rows.step(DoorOpen, ShopMs(0), Verdict::off(true));
    rows.step(OverTemperature, ShopMs(0), Verdict::latched(true));
    rows.step(PurgeFlow, ShopMs(0), Verdict::alarm(true));
    assert_eq!((entry(DoorOpen).causes, entry(PurgeFlow).causes), (For::People, For::Steel));
    assert_eq!(first(&rows), [DoorOpen, PurgeFlow]);
    assert_eq!(rows.withholding().collect::<Vec<_>>(), [DoorOpen, OverTemperature], "an alarm withholds nothing");
    rows.step(DoorOpen, ShopMs(0), Verdict::off(false));
    assert_eq!(first(&rows), [PurgeFlow], "a row that is clear is the first of nothing");
    rows.step(DoorOpen, ShopMs(0), Verdict::off(true));
    rows.step(SensorFault, ShopMs(0), Verdict::latched(true));
    assert_eq!(first(&rows), [PurgeFlow], "another stands since before");
    let bits: Vec<u64> = rows.bits().collect();
    assert_eq!(bits.len(), InterlockKind::COUNT);
    for kind in InterlockKind::ALL {
        assert_eq!(bits[kind as usize], rows.row(kind).bits());
    }
}
