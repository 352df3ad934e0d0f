//! One transaction for everything of a group of batches.

use std::borrow::Cow;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};

use hearthward_supervise::event::{Event, Priority};
use rusqlite::{Connection, Transaction, TransactionBehavior, params};

use crate::batch::{AnswerRow, Batch, Recorded, StandingRow};
use crate::chain::{Hash, Row};
use crate::names::Names;
use crate::place::Place;
use crate::write_input::InputWriter;

/// Most events that one transaction takes.
///
/// A disk that needs 300 µs a sync then still takes more events a second than the core can say, and a group stays below the few
/// megabytes that a small computer can spare.
pub const GROUP_EVENTS: usize = 4096;

/// How many answers are kept for repeats.
///
/// A count and not an age, because a headless computer's time of day may jump. People give some hundred commands a day.
const ANSWERS_KEPT: i64 = 4096;

/// The writing connection and the end of the chain.
#[derive(Debug)]
pub(crate) struct Writer {
    pub(crate) connection: Connection,
    pub(crate) path: PathBuf,
    pub(crate) place: Place,
    pub(crate) boot: i64,
    pub(crate) plan: i64,
    pub(crate) names: Arc<Names>,
    /// The number and link of the last event that is on disk.
    pub(crate) last: (i64, Hash),
    pub(crate) inputs: InputWriter,
}

impl Writer {
    /// Writes a group in one transaction. After an error nothing of it is on record, and the same group can be tried again.
    pub(crate) fn commit(&mut self, group: &[Batch]) -> rusqlite::Result<()> {
        let inputs_due = self.inputs.is_due() || group.iter().any(Batch::is_news);
        if !inputs_due && group.iter().all(Batch::is_empty) {
            return Ok(());
        }
        if !self.connection.is_autocommit() {
            // A rollback that itself failed, as on a disk that was away.
            self.connection.execute_batch("ROLLBACK")?;
        }
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut last = self.last;
        for batch in group {
            for (ord, event) in batch.events.iter().enumerate() {
                let row = Row {
                    seq: last.0 + 1,
                    boot: self.boot,
                    mono_ms: signed(batch.at.0),
                    wall_ms: batch.wall_ms,
                    tick: signed(batch.tick.0),
                    ord: i64::try_from(ord).unwrap_or(i64::MAX),
                    plan: self.plan,
                    furnace: event.furnace.and_then(|id| self.names.furnace(id)).map(|name| name.as_str().into()),
                    kind: event.body.kind().into(),
                    priority: number_of(event.priority),
                    person: event.person.as_deref().map(Cow::Borrowed),
                    text: event.text.as_str().into(),
                    body: json_of(event).into(),
                };
                let hash = row.hash(&last.1);
                insert_event(&transaction, &row, &last.1, &hash)?;
                last = (row.seq, hash);
            }
            for answer in &batch.answers {
                insert_answer(&transaction, answer, last.0)?;
            }
        }
        // Only the newest standing matters: they replace each other.
        if let Some((batch, standing)) = group.iter().rev().find_map(|batch| Some((batch, batch.standing.as_ref()?))) {
            replace_standing(&transaction, self.boot, batch, standing, last.0)?;
        }
        let written = if inputs_due { Some(self.inputs.write(&transaction, group)?) } else { None };
        transaction.commit()?;
        self.last = last;
        if let Some(written) = written {
            self.inputs.is_written(written);
        }
        Ok(())
    }

    /// Makes room on a full disk out of what is least needed: the oldest inputs. Events are never given up.
    pub(crate) fn make_room(&mut self) -> rusqlite::Result<()> {
        if !self.connection.is_autocommit() {
            self.connection.execute_batch("ROLLBACK")?;
        }
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let left = self.inputs.thin_by_a_tenth(&transaction)?;
        transaction.commit()?;
        self.inputs.is_thinned(left);
        Ok(())
    }

    /// The events of a group that was just committed, as readers get them.
    pub(crate) fn recorded(&self, group: Vec<Batch>) -> Vec<Arc<Recorded>> {
        let count: usize = group.iter().map(|batch| batch.events.len()).sum();
        let mut seq = u64::try_from(self.last.0).unwrap_or_default() - count as u64;
        let mut out = Vec::with_capacity(count);
        for batch in group {
            for event in batch.events {
                seq += 1;
                out.push(Arc::new(Recorded {
                    seq,
                    boot: u64::try_from(self.boot).unwrap_or_default(),
                    at: batch.at,
                    wall_ms: batch.wall_ms,
                    tick: batch.tick,
                    furnace: event.furnace.and_then(|id| self.names.furnace(id)).cloned(),
                    priority: event.priority,
                    person: event.person,
                    kind: event.body.kind().into(),
                    text: event.text,
                    body: Some(event.body),
                    names: Arc::clone(&self.names),
                    encoded: OnceLock::new(),
                }));
            }
        }
        out
    }

    /// Bounds the file's size; a commit that would pass it fails as on a full disk.
    pub(crate) fn limit_bytes(&self, bytes: u64) -> rusqlite::Result<()> {
        let page: i64 = self.connection.pragma_query_value(None, "page_size", |row| row.get(0))?;
        let pages = signed(bytes) / page.max(1);
        // Asked for as a query, since the pragma answers with what it set.
        self.connection.query_row(&format!("PRAGMA max_page_count = {}", pages.clamp(1, 0xffff_fffe)), [], |_| Ok(()))
    }

    /// Takes down that this start ended in order, and empties the log into the file.
    pub(crate) fn close(&mut self) -> rusqlite::Result<()> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let written = self.inputs.write(&transaction, &[])?;
        transaction.commit()?;
        self.inputs.is_written(written);
        self.connection.execute("UPDATE boot SET clean = 1 WHERE id = ?1", [self.boot])?;
        self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
    }
}

/// The number of a priority in the journal.
pub(crate) fn number_of(priority: Priority) -> i64 {
    match priority {
        Priority::Record => 0,
        Priority::Notice => 1,
        Priority::Warning => 2,
        Priority::Urgent => 3,
    }
}

/// The priority of a number; one that a later version added reads as the nearest that asks for attention.
pub(crate) fn priority_of(number: i64) -> Priority {
    match number {
        ..=0 => Priority::Record,
        1 => Priority::Notice,
        2 => Priority::Warning,
        _ => Priority::Urgent,
    }
}

/// Numbers of the shop are counts that never come near 2⁶³.
pub(crate) fn signed(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn json_of(event: &Event) -> String {
    // Plain data always has a JSON form; if a later kind should not, its name is still kept.
    serde_json::to_string(&event.body).unwrap_or_else(|_| format!("{{\"kind\":\"{}\"}}", event.body.kind()))
}

fn insert_event(transaction: &Transaction<'_>, row: &Row<'_>, prev: &Hash, hash: &Hash) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO event (seq, boot, mono_ms, wall_ms, tick, ord, plan, furnace, kind, priority, person, text, body, prev, hash)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
        )?
        .execute(params![
            row.seq, row.boot, row.mono_ms, row.wall_ms, row.tick, row.ord, row.plan, row.furnace, row.kind, row.priority, row.person,
            row.text, row.body, prev, hash
        ])
        .map(|_| ())
}

fn insert_answer(transaction: &Transaction<'_>, answer: &AnswerRow, seq: i64) -> rusqlite::Result<()> {
    // Plain data always has a JSON form.
    let outcome = serde_json::to_string(&answer.answer).unwrap_or_default();
    // The first answer stands: a repeat must not change what was said.
    transaction
        .prepare_cached("INSERT OR IGNORE INTO answer (request_id, seq, fingerprint, outcome) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![answer.request_id, seq, answer.fingerprint.cast_signed(), outcome])?;
    transaction
        .prepare_cached("DELETE FROM answer WHERE id <= (SELECT max(id) FROM answer) - ?1")?
        .execute([ANSWERS_KEPT])
        .map(|_| ())
}

fn replace_standing(
    transaction: &Transaction<'_>,
    boot: i64,
    batch: &Batch,
    standing: &StandingRow,
    seq: i64,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT OR REPLACE INTO standing (one, seq, boot, tick, mono_ms, wall_ms, format, body, cuts)
             VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            seq,
            boot,
            signed(batch.tick.0),
            signed(batch.at.0),
            batch.wall_ms,
            standing.format,
            standing.body,
            standing.cuts
        ])
        .map(|_| ())
}
