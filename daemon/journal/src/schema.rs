//! The tables, and what makes a file one of ours.

use std::path::Path;

use rusqlite::{Connection, ErrorCode};

use crate::error::JournalError;

/// The newest format that this version reads and the one it writes.
pub(crate) const FORMAT: i64 = 2;

/// Marks the file as a journal in SQLite's own header: "HwJ1".
const APPLICATION_ID: i64 = 0x4877_4a31;

/// The tables of format 1. Later formats add to them; what is here is never renamed.
const FORMAT_1: &str = "
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
-- The configuration in force. `names` is what the numbers in event bodies stand for.
CREATE TABLE plan (id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, sha256 BLOB NOT NULL, toml TEXT NOT NULL, names TEXT NOT NULL) STRICT;
-- One row a start. Event times are (boot, mono_ms); os_ms is the computer's own uptime when mono_ms was 0. `clean` once it ended in order.
CREATE TABLE boot (id INTEGER PRIMARY KEY, plan INTEGER NOT NULL, wall_ms INTEGER NOT NULL, os_boot_id TEXT NOT NULL, os_ms INTEGER NOT NULL,
    version TEXT NOT NULL, clean INTEGER NOT NULL) STRICT;
CREATE TABLE event (seq INTEGER PRIMARY KEY, boot INTEGER NOT NULL, mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, tick INTEGER NOT NULL,
    ord INTEGER NOT NULL, plan INTEGER NOT NULL, furnace TEXT, kind TEXT NOT NULL, priority INTEGER NOT NULL, person TEXT, text TEXT NOT NULL,
    body TEXT NOT NULL, prev BLOB NOT NULL, hash BLOB NOT NULL) STRICT;
CREATE TABLE standing (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL, boot INTEGER NOT NULL, tick INTEGER NOT NULL,
    mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, format INTEGER NOT NULL, body BLOB NOT NULL, cuts BLOB NOT NULL) STRICT;
CREATE TABLE answer (id INTEGER PRIMARY KEY, request_id TEXT NOT NULL UNIQUE, seq INTEGER NOT NULL, fingerprint INTEGER NOT NULL, outcome TEXT NOT NULL) STRICT;
";

/// What format 2 adds: everything that decisions can be gone through again with.
const FORMAT_2: &str = "
-- What the core was told of the shop, in JSON; empty in plans of format 1.
ALTER TABLE plan ADD COLUMN core TEXT NOT NULL DEFAULT '';
-- Where decisions can be gone through again from: a start (tick 0, with what stood then and for how long nobody watched), or the whole
-- state after a tick.
CREATE TABLE standing_kept (boot INTEGER NOT NULL, tick INTEGER NOT NULL, mono_ms INTEGER NOT NULL, format INTEGER NOT NULL, away_ms INTEGER,
    body BLOB, PRIMARY KEY (boot, tick)) STRICT;
-- Ticks in a row: times, digests, and all inputs that are not readings. `hash` is that of this body and of the readings' body.
CREATE TABLE tick_log (span INTEGER PRIMARY KEY, boot INTEGER NOT NULL, tick_from INTEGER NOT NULL, tick_to INTEGER NOT NULL,
    mono_ms INTEGER NOT NULL, took_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, bytes INTEGER NOT NULL, hash BLOB NOT NULL, body BLOB NOT NULL) STRICT;
CREATE INDEX tick_log_at ON tick_log (boot, tick_from, tick_to, took_ms, bytes);
-- The readings of the same ticks, a column for each point.
CREATE TABLE input (span INTEGER PRIMARY KEY, body BLOB NOT NULL) STRICT;
";

/// Makes the tables in an empty file, or checks that the file is a journal that this version may write.
pub(crate) fn prepare(connection: &mut Connection, path: &Path) -> Result<(), JournalError> {
    let wrong = |error| trouble(path, &error);
    let application: i64 = pragma(connection, "application_id").map_err(wrong)?;
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(wrong)?;
    if application == 0 && tables == 0 {
        return create(connection).map_err(wrong);
    }
    let found = check(connection, path)?;
    if found < FORMAT { migrate(connection).map_err(wrong) } else { Ok(()) }
}

/// Checks that the file is a journal that this version reads, and says of which format.
pub(crate) fn check(connection: &Connection, path: &Path) -> Result<i64, JournalError> {
    let wrong = |error| trouble(path, &error);
    let application: i64 = pragma(connection, "application_id").map_err(wrong)?;
    if application != APPLICATION_ID {
        return Err(JournalError::Foreign { path: path.into(), detail: "a database of another program".into() });
    }
    let found: i64 = pragma(connection, "user_version").map_err(wrong)?;
    if found > FORMAT {
        return Err(JournalError::Newer { path: path.into(), found, known: FORMAT });
    }
    Ok(found)
}

/// Durable before acknowledged: the log is synced at every commit.
pub(crate) fn set_durable(connection: &Connection) -> rusqlite::Result<()> {
    let mode: String = connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))?;
    if mode != "wal" {
        tracing::warn!(mode, "the disk of the journal has no shared memory; readers may delay the record");
    }
    connection.pragma_update(None, "synchronous", "FULL")?;
    // Set aside for a quiet disk: the log file is cut back to this after a burst.
    connection.pragma_update(None, "journal_size_limit", 16 * 1024 * 1024)?;
    Ok(())
}

/// What an error of the storage means for the file.
pub(crate) fn trouble(path: &Path, error: &rusqlite::Error) -> JournalError {
    let path = path.to_path_buf();
    let detail = error.to_string();
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => JournalError::Foreign { path, detail: "not a database, or its head is damaged".into() },
        Some(
            ErrorCode::CannotOpen
            | ErrorCode::ReadOnly
            | ErrorCode::PermissionDenied
            | ErrorCode::DiskFull
            | ErrorCode::SystemIoFailure,
        ) => JournalError::Unreachable { path, detail },
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => JournalError::InUse { path },
        _ => JournalError::Damaged { path, detail },
    }
}

fn pragma(connection: &Connection, name: &str) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}

/// Tables and marks in one transaction: a file that was cut short in its making is empty, not half a journal.
fn create(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    transaction.execute_batch(FORMAT_1)?;
    transaction.execute_batch(FORMAT_2)?;
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    transaction.execute(
        "INSERT INTO meta (key, value) VALUES ('journal_id', lower(hex(randomblob(8)))), ('format', ?1)",
        [FORMAT.to_string()],
    )?;
    transaction.commit()
}

/// Brings a journal of format 1 to this one, in one transaction: an older version refuses it from then on.
fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    transaction.execute_batch(FORMAT_2)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    transaction.execute("UPDATE meta SET value = ?1 WHERE key = 'format'", [FORMAT.to_string()])?;
    transaction.commit()
}
