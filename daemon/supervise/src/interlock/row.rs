//! One row of the interlock table as it stands: cause, latch, first of its group.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use serde::{Deserialize, Serialize};

use super::{For, InterlockKind, entry};
use crate::view::InterlockState;

/// What a row's expression says in this tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Verdict {
    /// The cause stands.
    pub(crate) cause: bool,
    /// It needs a reset once it is gone.
    pub(crate) latch: bool,
    /// Heat is withheld while the row is not clear.
    pub(crate) off: bool,
    /// Which of the row's reasons.
    pub(crate) why: Why,
}

/// The reasons that one row may have; what each means is the row's own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Why {
    /// The row has only one, or this is its first.
    #[default]
    Main,
    /// The second.
    Other,
    /// The third.
    Third,
    /// The fourth.
    Fourth,
}

impl Verdict {
    /// No cause.
    pub(crate) const CLEAR: Self = Self { cause: false, latch: false, off: false, why: Why::Main };

    /// Alarms when so; heat is left alone.
    pub(crate) fn alarm(cause: bool) -> Self {
        Self { cause, ..Self::CLEAR }
    }

    /// Withholds heat when so, and clears by itself.
    pub(crate) fn off(cause: bool) -> Self {
        Self { cause, off: true, ..Self::CLEAR }
    }

    /// Withholds heat when so until it is reset.
    pub(crate) fn latched(cause: bool) -> Self {
        Self { cause, latch: true, off: true, why: Why::Main }
    }

    /// The same for another reason.
    pub(crate) fn because(self, why: Why) -> Self {
        Self { why, ..self }
    }
}

/// A row. Its states are those of [`InterlockState`], where the diagram is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Row {
    cause: bool,
    latched: bool,
    off: bool,
    first: bool,
    why: Why,
    since: ShopMs,
    /// How long it stood before it became clear.
    stood: Duration,
    /// A bypass is in force; heat is withheld all the same if it holds so.
    #[serde(skip)]
    bypassed: Option<bool>,
}

/// What changed in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Change {
    /// The cause was seen, or what only tripped has become a latch.
    Tripped,
    /// It is clear again.
    Cleared,
}

impl Row {
    /// Takes the verdict of this tick. A latch is only ever set here; what clears it is [`Row::reset`].
    fn step(&mut self, now: ShopMs, verdict: Verdict) -> Option<Change> {
        let before = self.state();
        let was_latched = self.latched;
        let was_cause = self.cause;
        self.cause = verdict.cause;
        if verdict.cause {
            self.latched |= verdict.latch && self.bypassed.is_none();
            self.off |= verdict.off;
            // What latches it may be another thing than what it stood for.
            if !was_cause || self.latched != was_latched {
                self.why = verdict.why;
            }
        }
        if !self.latched {
            self.off = verdict.cause && verdict.off;
        }
        let after = self.state();
        if after != before {
            (self.stood, self.since) = (now.since(self.since), now);
        }
        if after == InterlockState::Clear {
            self.first = false;
        }
        match (before, after) {
            (InterlockState::Tripped | InterlockState::Latched, InterlockState::Clear) => Some(Change::Cleared),
            (InterlockState::Clear | InterlockState::Latched, InterlockState::Tripped) => Some(Change::Tripped),
            _ if self.latched && !was_latched => Some(Change::Tripped),
            _ => None,
        }
    }

    /// How it stands.
    pub(crate) fn state(&self) -> InterlockState {
        match (self.cause, self.latched) {
            (true, _) => InterlockState::Tripped,
            (false, true) => InterlockState::Latched,
            (false, false) => InterlockState::Clear,
        }
    }

    /// Whether it withholds heat.
    pub(crate) fn withholds(&self) -> bool {
        let off = self.off && (self.cause || self.latched);
        off && self.bypassed.is_none_or(|withholds| withholds && self.cause)
    }

    /// A bypass is in force.
    pub(crate) fn is_bypassed(&self) -> bool {
        self.bypassed.is_some()
    }

    /// Its cause stands.
    pub(crate) fn cause(&self) -> bool {
        self.cause
    }

    /// A reset is or will be owed.
    pub(crate) fn is_latched(&self) -> bool {
        self.latched
    }

    /// It was the first of its group.
    pub(crate) fn is_first(&self) -> bool {
        self.first
    }

    /// Why it tripped.
    pub(crate) fn why(&self) -> Why {
        self.why
    }

    /// Since when it stands so.
    pub(crate) fn since(&self) -> ShopMs {
        self.since
    }

    /// How long it stood as it was before its last change.
    pub(crate) fn stood(&self) -> Duration {
        self.stood
    }

    /// All of it in one number, for the digest.
    pub(crate) fn bits(&self) -> u64 {
        u64::from(self.cause)
            | u64::from(self.latched) << 1
            | u64::from(self.off) << 2
            | u64::from(self.first) << 3
            | (self.why as u64) << 4
            | u64::from(self.is_bypassed()) << 8
    }
}

/// All rows of one furnace, in the order of the table.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Rows {
    rows: [Row; InterlockKind::COUNT],
}

impl Rows {
    /// The row.
    pub(crate) fn row(&self, kind: InterlockKind) -> &Row {
        &self.rows[kind as usize]
    }

    /// Whether the row is not clear.
    pub(crate) fn stands(&self, kind: InterlockKind) -> bool {
        self.row(kind).state() != InterlockState::Clear
    }

    /// Takes the verdict of this tick for a row, and marks it as first if nothing else of its group stands.
    pub(crate) fn step(&mut self, kind: InterlockKind, now: ShopMs, verdict: Verdict) -> Option<Change> {
        let calm = self.rows[kind as usize].state() == InterlockState::Clear;
        if calm && !verdict.cause {
            return None;
        }
        let alone = calm && !self.group_stands(entry(kind).causes);
        let row = &mut self.rows[kind as usize];
        row.first |= alone;
        row.step(now, verdict)
    }

    /// Clears a latch whose cause is gone. Says whether it did.
    pub(crate) fn reset(&mut self, kind: InterlockKind, now: ShopMs) -> bool {
        let row = &mut self.rows[kind as usize];
        let can = row.latched && !row.cause;
        if can {
            *row = Row { since: now, bypassed: row.bypassed, ..Row::default() };
        }
        can
    }

    /// Takes a row out of force or puts it into force again; `Some(true)` withholds heat all the same while the cause stands.
    pub(crate) fn bypass(&mut self, kind: InterlockKind, bypassed: Option<bool>) {
        self.rows[kind as usize].bypassed = bypassed;
    }

    /// Whether any row of the group is not clear.
    fn group_stands(&self, group: For) -> bool {
        InterlockKind::ALL.iter().any(|&kind| entry(kind).causes == group && self.stands(kind))
    }

    /// Every row that withholds heat now.
    pub(crate) fn withholding(&self) -> impl Iterator<Item = InterlockKind> + '_ {
        InterlockKind::ALL.into_iter().filter(|&kind| self.row(kind).withholds())
    }

    /// Whether any row withholds heat.
    pub(crate) fn withhold(&self) -> bool {
        self.rows.iter().any(Row::withholds)
    }

    /// Whether any row withholds heat until a person resets it.
    pub(crate) fn withhold_until_reset(&self) -> bool {
        self.rows.iter().any(|row| row.is_latched() && row.withholds())
    }

    /// Times of an earlier run mean nothing in this one.
    pub(crate) fn begin_again(&mut self, now: ShopMs) {
        for row in &mut self.rows {
            (row.since, row.stood) = (now, Duration::ZERO);
        }
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> impl Iterator<Item = u64> + '_ {
        self.rows.iter().map(Row::bits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use InterlockKind::{DoorOpen, OverTemperature, PurgeFlow, SensorFault};

    const T: ShopMs = ShopMs(0);

    #[test]
    fn a_latch_outlives_its_cause_and_only_a_reset_clears_it() {
        let mut rows = Rows::default();
        assert_eq!(rows.step(OverTemperature, T, Verdict::latched(true)), Some(Change::Tripped));
        assert!(!rows.reset(OverTemperature, T), "the cause stands");
        assert_eq!(rows.step(OverTemperature, T, Verdict::latched(false)), None);
        assert!(rows.row(OverTemperature).withholds());
        assert_eq!(rows.row(OverTemperature).state(), InterlockState::Latched);
        assert!(rows.reset(OverTemperature, T));
        assert!(!rows.withhold());
        assert!(!rows.reset(OverTemperature, T), "there is nothing to reset");
    }

    #[test]
    fn what_does_not_latch_clears_by_itself_and_says_so_once() {
        let mut rows = Rows::default();
        assert_eq!(rows.step(DoorOpen, T, Verdict::off(true)), Some(Change::Tripped));
        assert_eq!(rows.step(DoorOpen, T, Verdict::off(true)), None);
        assert_eq!(rows.step(DoorOpen, T, Verdict::off(false)), Some(Change::Cleared));
        assert_eq!(rows.step(DoorOpen, T, Verdict::off(false)), None);
    }

    #[test]
    fn a_trip_that_becomes_a_latch_is_told_again_once() {
        let mut rows = Rows::default();
        rows.step(DoorOpen, T, Verdict::off(true));
        assert_eq!(rows.step(DoorOpen, T, Verdict::latched(true)), Some(Change::Tripped));
        assert_eq!(rows.step(DoorOpen, T, Verdict::latched(true)), None);
        assert_eq!(rows.step(DoorOpen, T, Verdict::off(false)), None);
        assert!(rows.row(DoorOpen).withholds());
    }

    #[test]
    fn the_first_cause_is_kept_and_the_groups_are_apart() {
        let mut rows = Rows::default();
        rows.step(SensorFault, T, Verdict::latched(true));
        rows.step(DoorOpen, T, Verdict::off(true));
        rows.step(PurgeFlow, T, Verdict::alarm(true));
        assert_eq!([SensorFault, DoorOpen, PurgeFlow].map(|kind| rows.row(kind).is_first()), [true, false, true]);
        rows.step(SensorFault, T, Verdict::latched(false));
        assert!(rows.row(SensorFault).is_first(), "still the first while it is latched");
    }

    #[test]
    fn a_bypass_hides_no_cause_clears_no_latch_and_sets_none() {
        let mut rows = Rows::default();
        rows.step(SensorFault, T, Verdict::latched(true));
        rows.step(DoorOpen, T, Verdict::latched(true));
        rows.bypass(SensorFault, Some(false));
        assert!(rows.withhold(), "the other row");
        rows.bypass(DoorOpen, Some(false));
        assert_eq!((rows.withhold(), rows.row(DoorOpen).state()), (false, InterlockState::Tripped));
        rows.step(DoorOpen, T, Verdict::latched(false));
        rows.bypass(DoorOpen, None);
        assert!(rows.row(DoorOpen).withholds(), "what was latched before is latched after");
        rows.bypass(OverTemperature, Some(false));
        rows.step(OverTemperature, T, Verdict::latched(true));
        assert_eq!((rows.stands(OverTemperature), rows.row(OverTemperature).is_latched()), (true, false));
        rows.bypass(OverTemperature, None);
        assert!(rows.row(OverTemperature).withholds(), "the cause stands, so heat is withheld at once");
        assert_eq!(rows.step(OverTemperature, T, Verdict::latched(true)), Some(Change::Tripped), "and it latches");
        rows.bypass(OverTemperature, Some(true));
        assert!(rows.row(OverTemperature).withholds(), "held so while its cause stands");
    }

    #[test]
    fn an_alarm_withholds_nothing() {
        let mut rows = Rows::default();
        rows.step(PurgeFlow, T, Verdict::alarm(true));
        assert_eq!((rows.withhold(), rows.stands(PurgeFlow)), (false, true));
    }
}
