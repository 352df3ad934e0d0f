//! The hash chain over events: a changed, missing or exchanged row is seen.
//!
//! It guards against damage and against quiet edits of single rows. It does not guard against somebody who can rewrite the whole
//! file, for which the last hash would have to be kept elsewhere.

use std::borrow::Cow;

use sha2::{Digest, Sha256};

/// A link of the chain.
pub(crate) type Hash = [u8; 32];

/// What stands before the first event.
pub(crate) const GENESIS: Hash = [0; 32];

/// An event as it lies in its row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Row<'a> {
    pub(crate) seq: i64,
    pub(crate) boot: i64,
    pub(crate) mono_ms: i64,
    pub(crate) wall_ms: i64,
    pub(crate) tick: i64,
    pub(crate) ord: i64,
    pub(crate) plan: i64,
    pub(crate) furnace: Option<Cow<'a, str>>,
    pub(crate) kind: Cow<'a, str>,
    pub(crate) priority: i64,
    pub(crate) person: Option<Cow<'a, str>>,
    pub(crate) text: Cow<'a, str>,
    pub(crate) body: Cow<'a, str>,
}

impl Row<'_> {
    /// The link of this row behind `prev`.
    ///
    /// Every field counts, with its length before it, so that no two rows hash the same bytes. The order is part of the format.
    pub(crate) fn hash(&self, prev: &Hash) -> Hash {
        let mut hasher = Sha256::new();
        hasher.update(prev);
        for number in [self.seq, self.boot, self.mono_ms, self.wall_ms, self.tick, self.ord, self.plan, self.priority] {
            hasher.update(number.to_le_bytes());
        }
        let texts = [self.furnace.as_deref(), Some(&*self.kind), self.person.as_deref(), Some(&*self.text), Some(&*self.body)];
        for text in texts {
            // No text is as long as `u64::MAX`, which therefore can stand for none.
            hasher.update(text.map_or(u64::MAX, |text| text.len() as u64).to_le_bytes());
            hasher.update(text.unwrap_or_default().as_bytes());
        }
        hasher.finalize().into()
    }
}

/// Where the chain does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("event {seq} {what}")]
pub struct ChainBreak {
    /// The first event that does not fit.
    pub seq: u64,
    /// What does not fit.
    pub what: &'static str,
}

/// Walks along rows in order and says where the chain breaks.
pub(crate) struct Walk {
    expected: Option<(i64, Hash)>,
}

impl Walk {
    /// Begins at the first row kept, whose `prev` is taken as it is.
    pub(crate) fn new() -> Self {
        Self { expected: None }
    }

    /// Takes the next row.
    pub(crate) fn step(&mut self, row: &Row<'_>, prev: &[u8], hash: &[u8]) -> Result<(), ChainBreak> {
        let seq = u64::try_from(row.seq).unwrap_or_default();
        if let Some((expected_seq, expected_prev)) = &self.expected {
            if row.seq != *expected_seq {
                return Err(ChainBreak { seq: u64::try_from(*expected_seq).unwrap_or_default(), what: "is missing" });
            }
            if prev != expected_prev {
                return Err(ChainBreak { seq, what: "does not follow from the event before it" });
            }
        }
        let Ok(prev) = Hash::try_from(prev) else {
            return Err(ChainBreak { seq, what: "has no whole link to the event before it" });
        };
        if row.seq == 1 && prev != GENESIS {
            return Err(ChainBreak { seq, what: "claims an event before the first" });
        }
        let made = row.hash(&prev);
        if hash != made {
            return Err(ChainBreak { seq, what: "is not what was written" });
        }
        self.expected = Some((row.seq + 1, made));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> Row<'static> {
        Row {
            seq: 1,
            boot: 1,
            mono_ms: 2,
            wall_ms: 3,
            tick: 4,
            ord: 5,
            plan: 6,
            furnace: Some("north".into()),
            kind: "noted".into(),
            priority: 1,
            person: None,
            text: "North was noted.".into(),
            body: "{\"kind\":\"noted\"}".into(),
        }
    }

    #[test]
    fn moving_text_between_fields_changes_the_link() {
        let mut other = row();
        other.kind = "note".into();
        other.text = "dNorth was noted.".into();
        assert_ne!(row().hash(&GENESIS), other.hash(&GENESIS));
    }

    #[test]
    fn none_and_an_empty_text_differ() {
        let mut other = row();
        other.person = Some("".into());
        assert_ne!(row().hash(&GENESIS), other.hash(&GENESIS));
    }

    #[test]
    fn a_first_event_with_a_forerunner_is_refused() {
        let prev = [1; 32];
        let hash = row().hash(&prev);
        assert!(Walk::new().step(&row(), &prev, &hash).is_err());
    }
}
