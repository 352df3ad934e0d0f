//! A set of interlocks in one word.

use std::fmt;

use hearthward_supervise::interlock::InterlockKind;

/// Some of the interlocks.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Set(u64);

impl Set {
    pub(super) fn add(&mut self, kind: InterlockKind, is: bool) {
        self.0 |= u64::from(is) << (kind as u32);
    }

    pub(super) fn remove(&mut self, kind: InterlockKind) {
        self.0 &= !(1 << (kind as u32));
    }

    pub(super) fn has(self, kind: InterlockKind) -> bool {
        self.0 >> (kind as u32) & 1 == 1
    }

    pub(super) fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    pub(super) fn is_empty(self) -> bool {
        self.0 == 0
    }

    pub(super) fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl fmt::Debug for Set {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(InterlockKind::ALL.iter().filter(|kind| self.has(**kind))).finish()
    }
}
