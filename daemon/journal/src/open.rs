//! Opening the journal at a start: what it is, what stood, and how the service ended last time.

use std::ffi::OsString;
use std::fs::{File, OpenOptions as FileOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

use crate::batch::StandingRow;
use crate::chain::{GENESIS, Hash, Walk};
use crate::error::JournalError;
use crate::keep::InputsKept;
use crate::log::{self, Log};
use crate::names::Names;
use crate::place::Place;
use crate::read::{Reader, walk_rows};
use crate::record::{Listener, Recorder};
use crate::ring::Shared;
use crate::schema;
use crate::write::{Writer, signed};
use crate::write_input::InputWriter;

/// How many of the newest events are checked at a start.
///
/// What a crash can damage is at the end. A millisecond's work, where the whole chain would cost a second for each half million events.
const TAIL_CHECKED: i64 = 256;

/// How long another program's lock on the file is waited for before it counts as trouble.
const BUSY_WAIT: Duration = Duration::from_millis(250);

/// What the journal cannot find out by itself: the configuration, and every time.
#[derive(Clone, Debug)]
pub struct OpenOptions {
    /// The configuration in force, as text.
    pub plan_toml: String,
    /// What the core is told of the shop, in JSON; empty where nobody wants to go through its decisions again.
    pub core: String,
    /// What the numbers in events stand for.
    pub names: Names,
    /// The service's version.
    pub version: String,
    /// Time of day in milliseconds since 1970: a label.
    pub wall_ms: i64,
    /// Names this run of the operating system; empty when the system does not say. Time away is only known within one run, because
    /// the time of day of a headless computer is not to be trusted.
    pub os_boot_id: String,
    /// The operating system's uptime in milliseconds at the moment at which the shop's clock is 0.
    pub os_ms: u64,
    /// How large the file may grow.
    pub limit_bytes: u64,
    /// How much of the inputs is kept.
    pub inputs: InputsKept,
}

impl OpenOptions {
    /// Options without a limit on size and with nothing known of the operating system.
    #[must_use]
    pub fn new(plan_toml: impl Into<String>, names: Names, wall_ms: i64) -> Self {
        Self {
            plan_toml: plan_toml.into(),
            core: String::new(),
            names,
            version: String::new(),
            wall_ms,
            os_boot_id: String::new(),
            os_ms: 0,
            limit_bytes: u64::MAX,
            inputs: InputsKept::default(),
        }
    }
}

/// An open journal, before its thread runs.
#[derive(Debug)]
pub struct Journal {
    writer: Writer,
    shared: Arc<Shared>,
    reader: Reader,
    limit_bytes: u64,
    /// Held for as long as the journal is open; the system lets go of it when the process ends, however it ends.
    lock: File,
}

/// What was found at the start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// Names the journal: numbers count within it.
    pub journal_id: String,
    /// Which start this is, from 1.
    pub boot: u64,
    /// The oldest event that is kept; 0 while there is none.
    pub oldest_seq: u64,
    /// The last event that is on disk; 0 while there is none.
    pub last_seq: u64,
    /// Whether the start before this one ended in order. True at the first start.
    pub clean_stop: bool,
    /// What stood, if anything did. Of a journal whose log was damaged only the cuts are given, with a body that cannot be read.
    pub standing: Option<StandingRow>,
    /// Milliseconds from the last sign of life on record to now; absent when not known, which is the worst case.
    pub away_ms: Option<u64>,
}

impl Journal {
    /// Opens the journal, or makes a new one where there is none.
    ///
    /// # Errors
    /// [`JournalError`], with the path and the mend, when the file cannot be reached, is in use, belongs to something else, was
    /// written by a later version or is damaged at its end.
    pub fn open(path: &Path, options: OpenOptions) -> Result<(Self, Opened), JournalError> {
        let lock = lock(path)?;
        let wrong = |error| schema::trouble(path, &error);
        let found_log = log::look(path)
            .map_err(|error| JournalError::Unreachable { path: path.into(), detail: format!("its log: {error}") })?;
        let mut connection = Connection::open(path).map_err(wrong)?;
        connection.busy_timeout(BUSY_WAIT).map_err(wrong)?;
        schema::prepare(&mut connection, path)?;
        schema::set_durable(&connection).map_err(wrong)?;
        let lost = after_log(&connection, path, found_log).map_err(wrong)?;
        let last = check_tail(&connection, path)?;
        let mut found = find(&connection, &options, last.0).map_err(wrong)?;
        if lost {
            // What stood last is lost too, and a latch may have been in it: nothing is taken from before but the cuts.
            let cuts = found.standing.take().unwrap_or_default().cuts;
            found.standing = Some(StandingRow { format: hearthward_supervise::STANDING_FORMAT, body: Vec::new(), cuts });
            found.away_ms = None;
        }
        let (plan, boot) = begin(&mut connection, &options, &found).map_err(wrong)?;
        let opened = Opened { boot: u64::try_from(boot).unwrap_or_default(), ..found };
        let shared = Arc::new(Shared::new(opened.oldest_seq, opened.last_seq));
        let reader = Reader::new(path.into(), opened.journal_id.clone(), Arc::clone(&shared));
        let names = Arc::new(options.names);
        let inputs = InputWriter::new(&connection, boot, options.inputs).map_err(wrong)?;
        let writer = Writer { connection, path: path.into(), place: Place::of(path), boot, plan, names, last, inputs };
        Ok((Self { writer, shared, reader, limit_bytes: options.limit_bytes, lock }, opened))
    }

    /// A reader; as many as wanted, clones of each other.
    #[must_use]
    pub fn reader(&self) -> Reader {
        self.reader.clone()
    }

    /// Starts the record thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn record(self, listener: impl Listener + 'static) -> Result<Recorder, JournalError> {
        Recorder::start(self.writer, self.lock, self.shared, self.limit_bytes, Box::new(listener))
    }
}

/// Makes sure that no other service writes. A file beside the journal, because closing a second handle of the journal itself would
/// drop SQLite's own locks.
fn lock(path: &Path) -> Result<File, JournalError> {
    let mut name = OsString::from(path);
    name.push(".lock");
    let unreachable = |error: std::io::Error| JournalError::Unreachable { path: path.into(), detail: error.to_string() };
    let file = FileOptions::new().create(true).truncate(false).write(true).open(PathBuf::from(name)).map_err(unreachable)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse { path: path.into() }),
        Err(TryLockError::Error(error)) => Err(unreachable(error)),
    }
}

/// Goes on from what SQLite recovered of a log. Where durable events are lost, says so and gives the journal a new id, so that no
/// number means two things; gives back whether that is so.
fn after_log(connection: &Connection, path: &Path, found: Log) -> rusqlite::Result<bool> {
    if found == Log::Whole {
        return Ok(false);
    }
    if let Log::Damaged(from) = found {
        connection.execute("UPDATE meta SET value = lower(hex(randomblob(8))) WHERE key = 'journal_id'", [])?;
        tracing::error!(
            journal = %path.display(),
            from,
            "the log beside the journal (-wal) is damaged from this byte on: events that were on record are lost. Every furnace is \
             stopped until a reset; the journal goes on under a new id, since numbers come again. Look at the disk, and keep what this \
             log says of the last hours by hand"
        );
    }
    // What is left behind the recovered part must not be found again at the next start.
    connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
    Ok(matches!(found, Log::Damaged(_)))
}

/// The number and link of the last event, once the newest ones are seen to hold together.
fn check_tail(connection: &Connection, path: &Path) -> Result<(i64, Hash), JournalError> {
    let damaged = |detail: String| JournalError::Damaged { path: path.into(), detail };
    let newest: Option<i64> = connection
        .query_row("SELECT max(seq) FROM event", [], |row| row.get(0))
        .map_err(|error| schema::trouble(path, &error))?;
    let Some(newest) = newest else { return Ok((0, GENESIS)) };
    let mut end = GENESIS;
    let from = (newest - TAIL_CHECKED + 1).max(1);
    walk_rows(connection, from, TAIL_CHECKED, &mut Walk::new(), |_, hash| end = hash)
        .map_err(|error| damaged(error.to_string()))?;
    Ok((newest, end))
}

/// What the file says of the starts before this one. `boot` is not yet known and stays 0.
fn find(connection: &Connection, options: &OpenOptions, last: i64) -> rusqlite::Result<Opened> {
    let journal_id = connection.query_row("SELECT value FROM meta WHERE key = 'journal_id'", [], |row| row.get(0))?;
    let oldest: Option<i64> = connection.query_row("SELECT min(seq) FROM event", [], |row| row.get(0))?;
    let before: Option<(i64, String, i64, bool)> = connection
        .query_row("SELECT id, os_boot_id, os_ms, clean FROM boot ORDER BY id DESC LIMIT 1", [], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
        })
        .optional()?;
    let standing = connection
        .query_row("SELECT format, body, cuts FROM standing", [], |row| {
            Ok(StandingRow { format: row.get(0)?, body: row.get(1)?, cuts: row.get(2)? })
        })
        .optional()?;
    let away_ms = match &before {
        Some((boot, os_boot_id, os_ms, _)) if !os_boot_id.is_empty() && *os_boot_id == options.os_boot_id => {
            // A shop's clock that ran ahead of the computer's (a demonstration) leaves nothing to reckon with.
            u64::try_from(signed(options.os_ms) - os_ms - last_sign_of_life(connection, *boot)?).ok()
        }
        _ => None,
    };
    Ok(Opened {
        journal_id,
        boot: 0,
        oldest_seq: u64::try_from(oldest.unwrap_or(0)).unwrap_or_default(),
        last_seq: u64::try_from(last).unwrap_or_default(),
        clean_stop: before.is_none_or(|(_, _, _, clean)| clean),
        standing,
        away_ms,
    })
}

/// The shop's time of the last thing that a start put on record.
fn last_sign_of_life(connection: &Connection, boot: i64) -> rusqlite::Result<i64> {
    connection.query_row(
        "SELECT max(coalesce((SELECT mono_ms FROM standing WHERE boot = ?1), 0),
                    coalesce((SELECT mono_ms FROM event WHERE boot = ?1 ORDER BY seq DESC LIMIT 1), 0))",
        [boot],
        |row| row.get(0),
    )
}

/// Takes down the plan, if it changed, and this start with what stood.
fn begin(connection: &mut Connection, options: &OpenOptions, found: &Opened) -> rusqlite::Result<(i64, i64)> {
    let digest: [u8; 32] = Sha256::digest(options.plan_toml.as_bytes()).into();
    // Plain data always has a JSON form.
    let names = serde_json::to_string(&options.names).unwrap_or_default();
    let transaction = connection.transaction()?;
    let newest: Option<(i64, bool)> = transaction
        .query_row(
            "SELECT id, sha256 = ?1 AND names = ?2 AND core = ?3 FROM plan ORDER BY id DESC LIMIT 1",
            params![digest, names, options.core],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    let plan = match newest {
        Some((id, true)) => id,
        _ => {
            transaction.execute(
                "INSERT INTO plan (at_ms, sha256, toml, names, core) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![options.wall_ms, digest, options.plan_toml, names, options.core],
            )?;
            transaction.last_insert_rowid()
        }
    };
    transaction.execute(
        "INSERT INTO boot (plan, wall_ms, os_boot_id, os_ms, version, clean) VALUES (?1, ?2, ?3, ?4, ?5, 0)",
        params![plan, options.wall_ms, options.os_boot_id, signed(options.os_ms), options.version],
    )?;
    let boot = transaction.last_insert_rowid();
    let (format, body) = found.standing.as_ref().map_or((0, None), |standing| (standing.format, Some(&standing.body)));
    transaction.execute(
        "INSERT INTO standing_kept (boot, tick, mono_ms, format, away_ms, body) VALUES (?1, 0, 0, ?2, ?3, ?4)",
        params![boot, format, found.away_ms.map(signed), body],
    )?;
    transaction.commit()?;
    Ok((plan, boot))
}
