//! Reading events back from any number, without ever holding up the record.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::task::{Context, Poll};

use hearthward_equipment::{Name, ShopMs, Tick};
use rusqlite::{Connection, OpenFlags, OptionalExtension, params};

use crate::batch::{AnswerRow, Recorded};
use crate::chain::{Hash, Row, Walk};
use crate::error::{JournalError, ReadError};
use crate::names::Names;
use crate::ring::Shared;
use crate::schema;
use crate::write::{priority_of, signed};

/// Read-only connections that are kept open for the next read; a fifth reader at the same time opens one of its own.
const IDLE_CONNECTIONS: usize = 4;

/// Rows that one look at the file takes at most. A reader that holds the file for longer would let the log grow.
const LOOK_ROWS: usize = 4096;

/// Reads events: the newest from memory, all others from the file through a read-only connection of its own.
#[derive(Clone, Debug)]
pub struct Reader {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    path: PathBuf,
    journal_id: String,
    shared: Arc<Shared>,
    idle: Mutex<Vec<Connection>>,
    names: Mutex<BTreeMap<i64, Arc<Names>>>,
}

impl Reader {
    pub(crate) fn new(path: PathBuf, journal_id: String, shared: Arc<Shared>) -> Self {
        Self { inner: Arc::new(Inner { path, journal_id, shared, idle: Mutex::default(), names: Mutex::default() }) }
    }

    /// Opens a journal for reading only, whether or not a service writes it. What is written later shows after [`Reader::refresh`].
    ///
    /// # Errors
    /// [`JournalError`], with the path and the mend.
    pub fn open(path: &Path) -> Result<Self, JournalError> {
        let wrong = |error| schema::trouble(path, &error);
        let connection = connect(path).map_err(wrong)?;
        schema::check(&connection, path)?;
        let journal_id =
            connection.query_row("SELECT value FROM meta WHERE key = 'journal_id'", [], |row| row.get(0)).map_err(wrong)?;
        let reader = Self::new(path.into(), journal_id, Arc::new(Shared::new(0, 0)));
        reader.give_back(connection);
        reader.refresh().map_err(|error| JournalError::Damaged { path: path.into(), detail: error.to_string() })?;
        Ok(reader)
    }

    /// Names the journal: numbers count within it.
    #[must_use]
    pub fn journal_id(&self) -> &str {
        &self.inner.journal_id
    }

    /// The newest event that is on disk; 0 while there is none.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        self.inner.shared.last()
    }

    /// The oldest event that is kept; 0 while there is none.
    #[must_use]
    pub fn oldest_seq(&self) -> u64 {
        self.inner.shared.oldest()
    }

    /// Up to `limit` events from `from` on, oldest first, without touching the disk; nothing when memory does not reach back so far.
    #[must_use]
    pub fn read_ring(&self, from: u64, limit: usize) -> Option<Vec<Arc<Recorded>>> {
        self.inner.shared.read(from, limit)
    }

    /// Up to `limit` events from `from` on, oldest first. Empty when `from` is beyond the last one. May wait for the disk.
    ///
    /// # Errors
    /// [`ReadError::TooOld`] when `from` is no longer kept, [`ReadError::Hole`] when events between others are missing; the others when
    /// the disk or the file fails.
    pub fn read(&self, from: u64, limit: usize) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let from = from.max(1);
        if let Some(events) = self.read_ring(from, limit) {
            return Ok(events);
        }
        let last = self.last_seq();
        if from > last {
            return Ok(Vec::new());
        }
        let limit = limit.min(LOOK_ROWS);
        let through = last.min(from.saturating_add(limit as u64 - 1));
        let events = self.look(
            "SELECT seq, boot, mono_ms, wall_ms, tick, plan, furnace, kind, priority, person, text, body
             FROM event WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq",
            from,
            through,
        )?;
        let numbers = events.iter().map(|event| event.seq).chain([through + 1]);
        match (from..).zip(numbers).find(|(expected, found)| expected != found) {
            None => Ok(events),
            Some((missing, _)) if missing == from && from < self.next_on_file(0)? => {
                Err(ReadError::TooOld { oldest: self.oldest_seq() })
            }
            Some((missing, _)) => Err(ReadError::Hole { from: missing, to: self.next_on_file(missing)? - 1 }),
        }
    }

    /// The first number from here on that is on file; where there is none, the one behind all.
    fn next_on_file(&self, from: u64) -> Result<u64, ReadError> {
        let found: Option<i64> = self.with(|connection| {
            connection.query_row("SELECT min(seq) FROM event WHERE seq >= ?1", [signed(from)], |row| row.get(0))
        })?;
        Ok(found.map_or(self.last_seq() + 1, |seq| u64::try_from(seq).unwrap_or_default()))
    }

    /// Up to `limit` events up to and including `through`, newest first. May wait for the disk.
    ///
    /// # Errors
    /// When the disk or the file fails.
    pub fn read_back(&self, through: u64, limit: usize) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let through = through.min(self.last_seq());
        let limit = limit.min(LOOK_ROWS) as u64;
        let from = through.saturating_sub(limit.saturating_sub(1)).max(1);
        self.look(
            "SELECT seq, boot, mono_ms, wall_ms, tick, plan, furnace, kind, priority, person, text, body
             FROM event WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq DESC",
            from,
            through,
        )
    }

    /// What a command was answered, if it is still remembered. May wait for the disk.
    ///
    /// # Errors
    /// When the disk or the file fails.
    pub fn answer(&self, request_id: &str) -> Result<Option<AnswerRow>, ReadError> {
        let found: Option<(i64, i64, String)> = self.with(|connection| {
            connection
                .prepare_cached("SELECT seq, fingerprint, outcome FROM answer WHERE request_id = ?1")?
                .query_row([request_id], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                .optional()
        })?;
        found
            .map(|(seq, fingerprint, outcome)| {
                let answer = serde_json::from_str(&outcome)
                    .map_err(|error| ReadError::Row { seq: u64::try_from(seq).unwrap_or_default(), detail: error.to_string() })?;
                Ok(AnswerRow { request_id: request_id.into(), fingerprint: fingerprint.cast_unsigned(), answer })
            })
            .transpose()
    }

    /// Completes when there is an event beyond `seq`, with the number of the last one. Needs no particular runtime.
    #[must_use]
    pub fn beyond(&self, seq: u64) -> Beyond {
        Beyond { shared: Arc::clone(&self.inner.shared), seq, place: None }
    }

    /// Looks again how far a file reaches that another process writes.
    ///
    /// # Errors
    /// When the disk or the file fails.
    pub fn refresh(&self) -> Result<(), ReadError> {
        let (oldest, last): (Option<i64>, Option<i64>) = self.with(|connection| {
            connection
                .prepare_cached("SELECT (SELECT min(seq) FROM event), (SELECT max(seq) FROM event)")?
                .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))
        })?;
        let number = |seq: Option<i64>| u64::try_from(seq.unwrap_or(0)).unwrap_or_default();
        self.inner.shared.set_bounds(number(oldest), number(last));
        Ok(())
    }

    /// Checks the whole chain and says how many events it holds. Takes about two seconds for a million events.
    ///
    /// # Errors
    /// [`ReadError::Chain`] at the first event that does not fit; the others when the disk or the file fails.
    pub fn verify(&self) -> Result<u64, ReadError> {
        let mut walk = Walk::new();
        let mut count = 0;
        let mut from = signed(self.oldest_seq().max(1));
        let last = signed(self.last_seq());
        while from <= last {
            let rows = (last - from + 1).min(signed(LOOK_ROWS as u64));
            let connection = self.take()?;
            walk_rows(&connection, from, rows, &mut walk, |_, _| count += 1)?;
            self.give_back(connection);
            from += rows;
        }
        Ok(count)
    }

    fn look(&self, sql: &str, from: u64, through: u64) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let connection = self.take()?;
        let events = self.look_with(&connection, sql, from, through);
        if events.is_ok() {
            self.give_back(connection);
        }
        events
    }

    fn look_with(&self, connection: &Connection, sql: &str, from: u64, through: u64) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let mut statement = connection.prepare_cached(sql)?;
        let mut rows = statement.query(params![signed(from), signed(through)])?;
        let mut events = Vec::with_capacity(usize::try_from(through.saturating_sub(from) + 1).unwrap_or(0).min(LOOK_ROWS));
        let mut names: Option<(i64, Arc<Names>)> = None;
        while let Some(row) = rows.next()? {
            let plan: i64 = row.get(5)?;
            let known = match &names {
                Some((id, known)) if *id == plan => Arc::clone(known),
                _ => {
                    let known = self.names(connection, plan)?;
                    names = Some((plan, Arc::clone(&known)));
                    known
                }
            };
            events.push(Arc::new(recorded(row, known)?));
        }
        Ok(events)
    }

    /// What the numbers of a plan stand for.
    fn names(&self, connection: &Connection, plan: i64) -> Result<Arc<Names>, ReadError> {
        let mut cache = self.inner.names.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(names) = cache.get(&plan) {
            return Ok(Arc::clone(names));
        }
        let json: Option<String> =
            connection.query_row("SELECT names FROM plan WHERE id = ?1", [plan], |row| row.get(0)).optional()?;
        // Names that cannot be read leave numbers without names; the event's text still says it.
        let names: Arc<Names> = Arc::new(json.and_then(|json| serde_json::from_str(&json).ok()).unwrap_or_default());
        cache.insert(plan, Arc::clone(&names));
        Ok(names)
    }

    pub(crate) fn with<T>(&self, work: impl FnOnce(&Connection) -> rusqlite::Result<T>) -> Result<T, ReadError> {
        let connection = self.take()?;
        let result = work(&connection)?;
        self.give_back(connection);
        Ok(result)
    }

    fn take(&self) -> Result<Connection, ReadError> {
        let idle = self.inner.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        match idle {
            Some(connection) => Ok(connection),
            None => Ok(connect(&self.inner.path)?),
        }
    }

    fn give_back(&self, connection: Connection) {
        let mut idle = self.inner.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < IDLE_CONNECTIONS {
            idle.push(connection);
        }
    }
}

/// The future of [`Reader::beyond`].
#[derive(Debug)]
pub struct Beyond {
    shared: Arc<Shared>,
    seq: u64,
    place: Option<u64>,
}

impl Future for Beyond {
    type Output = u64;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<u64> {
        let last = self.shared.last();
        if last > self.seq {
            return Poll::Ready(last);
        }
        self.place = Some(self.shared.wait(self.place, context.waker()));
        // Again, for an event that came between the look and the entry.
        let last = self.shared.last();
        if last > self.seq { Poll::Ready(last) } else { Poll::Pending }
    }
}

impl Drop for Beyond {
    fn drop(&mut self) {
        if let Some(place) = self.place {
            self.shared.leave(place);
        }
    }
}

/// Feeds up to `count` rows from `from` on to a walk along the chain, and each row's number and link to `each`.
pub(crate) fn walk_rows(
    connection: &Connection,
    from: i64,
    count: i64,
    walk: &mut Walk,
    mut each: impl FnMut(i64, Hash),
) -> Result<(), ReadError> {
    let mut statement = connection.prepare_cached(
        "SELECT seq, boot, mono_ms, wall_ms, tick, ord, plan, furnace, kind, priority, person, text, body, prev, hash
         FROM event WHERE seq >= ?1 ORDER BY seq LIMIT ?2",
    )?;
    let mut rows = statement.query(params![from, count])?;
    while let Some(row) = rows.next()? {
        let text = |place: usize| row.get::<_, String>(place).map(Into::into);
        let maybe = |place: usize| row.get::<_, Option<String>>(place).map(|text| text.map(Into::into));
        let stored = Row {
            seq: row.get(0)?,
            boot: row.get(1)?,
            mono_ms: row.get(2)?,
            wall_ms: row.get(3)?,
            tick: row.get(4)?,
            ord: row.get(5)?,
            plan: row.get(6)?,
            furnace: maybe(7)?,
            kind: text(8)?,
            priority: row.get(9)?,
            person: maybe(10)?,
            text: text(11)?,
            body: text(12)?,
        };
        let (prev, hash): (Vec<u8>, Vec<u8>) = (row.get(13)?, row.get(14)?);
        walk.step(&stored, &prev, &hash)?;
        each(stored.seq, stored.hash(&prev.try_into().unwrap_or_default()));
    }
    Ok(())
}

fn connect(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(path, flags)
}

fn recorded(row: &rusqlite::Row<'_>, names: Arc<Names>) -> Result<Recorded, ReadError> {
    let unsigned = |place: usize| row.get::<_, i64>(place).map(|number| u64::try_from(number).unwrap_or_default());
    Ok(Recorded {
        seq: unsigned(0)?,
        boot: unsigned(1)?,
        at: ShopMs(unsigned(2)?),
        wall_ms: row.get(3)?,
        tick: Tick(unsigned(4)?),
        furnace: row.get::<_, Option<String>>(6)?.and_then(|name| Name::new(name).ok()),
        kind: row.get(7)?,
        priority: priority_of(row.get(8)?),
        person: row.get(9)?,
        text: row.get(10)?,
        // A kind that a later version wrote: its word and its sentence are kept, and shown without the rest.
        body: row.get_ref(11)?.as_str().ok().and_then(|json| serde_json::from_str(json).ok()),
        names,
        encoded: OnceLock::new(),
    })
}
