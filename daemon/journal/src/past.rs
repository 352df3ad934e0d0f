//! The inputs of the past, read back from a file: where a replay may begin, and tick after tick from there.

use hearthward_equipment::{ShopMs, Tick};
use rusqlite::{OptionalExtension, params};

use crate::batch::Recorded;
use crate::error::ReadError;
use crate::input::PastTick;
use crate::read::Reader;
use crate::span::decode;
use crate::write::signed;
use std::sync::Arc;

/// Where decisions can be gone through again from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Start {
    /// Which start of the service, from 1.
    pub boot: u64,
    /// After which tick; 0 is the start itself.
    pub tick: Tick,
    /// The shop's time of that tick.
    pub at: ShopMs,
    /// The version that decided.
    pub version: String,
    /// What the core was told of the shop, in JSON; empty when a version wrote it that kept none.
    pub core: String,
    /// The format of `body`, counted by the core.
    pub format: u32,
    /// At a start: what stood, if anything did. Later: the core's whole state.
    pub body: Option<Vec<u8>>,
    /// At a start: for how long nobody watched; absent when that was not known.
    pub away_ms: Option<u64>,
}

impl Reader {
    /// Everywhere that decisions can be gone through again from, oldest first, without the states themselves. Empty in a journal of
    /// an older format. May wait for the disk.
    ///
    /// # Errors
    /// When the disk or the file fails.
    pub fn starts(&self) -> Result<Vec<(u64, Tick)>, ReadError> {
        self.with(|connection| {
            let kept: bool =
                connection.query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'standing_kept'", [], |row| row.get(0))?;
            if !kept {
                return Ok(Vec::new());
            }
            let mut statement = connection.prepare("SELECT boot, tick FROM standing_kept ORDER BY boot, tick")?;
            let rows = statement.query_map([], |row| Ok((number(row.get(0)?), Tick(number(row.get(1)?)))))?;
            rows.collect()
        })
    }

    /// One of [`Reader::starts`], with its state. May wait for the disk.
    ///
    /// # Errors
    /// When there is none such, or the disk or the file fails.
    pub fn start(&self, boot: u64, tick: Tick) -> Result<Start, ReadError> {
        self.with(|connection| {
            connection.query_row(
                "SELECT kept.mono_ms, boot.version, plan.core, kept.format, kept.body, kept.away_ms
                 FROM standing_kept AS kept JOIN boot ON boot.id = kept.boot JOIN plan ON plan.id = boot.plan
                 WHERE kept.boot = ?1 AND kept.tick = ?2",
                params![signed(boot), signed(tick.0)],
                |row| {
                    Ok(Start {
                        boot,
                        tick,
                        at: ShopMs(number(row.get(0)?)),
                        version: row.get(1)?,
                        core: row.get(2)?,
                        format: row.get(3)?,
                        body: row.get(4)?,
                        away_ms: row.get::<_, Option<i64>>(5)?.map(number),
                    })
                },
            )
        })
    }

    /// The ticks of one start of the service from behind this one on.
    #[must_use]
    pub fn past(&self, boot: u64, after: Tick) -> Past {
        Past { reader: self.clone(), boot, after, failed: false, span: Vec::new().into_iter() }
    }

    /// The events of one start of the service from behind this tick on, up to `limit`, oldest first; `after_seq` goes on from an
    /// earlier look. May wait for the disk.
    ///
    /// # Errors
    /// When the disk or the file fails.
    pub fn events_of(&self, boot: u64, after: Tick, after_seq: u64, limit: usize) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let first: Option<i64> = self.with(|connection| {
            connection
                .prepare_cached("SELECT seq FROM event WHERE seq > ?1 AND boot = ?2 AND tick > ?3 ORDER BY seq LIMIT 1")?
                .query_row(params![signed(after_seq), signed(boot), signed(after.0)], |row| row.get(0))
                .optional()
        })?;
        let Some(first) = first else { return Ok(Vec::new()) };
        let mut events = self.read(number(first), limit)?;
        events.retain(|event| event.boot == boot);
        Ok(events)
    }
}

/// Tick after tick of the past, without a gap. Ends where the inputs end, or where some are missing.
#[derive(Debug)]
pub struct Past {
    reader: Reader,
    boot: u64,
    after: Tick,
    failed: bool,
    span: std::vec::IntoIter<PastTick>,
}

impl Iterator for Past {
    type Item = Result<PastTick, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(tick) = self.span.find(|tick| tick.tick > self.after) {
                self.after = tick.tick;
                return Some(Ok(tick));
            }
            if self.failed {
                return None;
            }
            match self.next_span() {
                Ok(Some(span)) => self.span = span.into_iter(),
                Ok(None) => return None,
                Err(error) => {
                    self.failed = true;
                    return Some(Err(error));
                }
            }
        }
    }
}

impl Past {
    /// The span that holds the tick after the last one.
    fn next_span(&self) -> Result<Option<Vec<PastTick>>, ReadError> {
        let next = signed(self.after.0) + 1;
        let found: Option<Span> = self.reader.with(|connection| {
            connection
                .prepare_cached(
                    "SELECT log.tick_from, log.body, input.body, log.hash FROM tick_log AS log JOIN input ON input.span = log.span
                     WHERE log.boot = ?1 AND log.tick_from <= ?2 AND log.tick_to >= ?2 ORDER BY log.tick_from DESC LIMIT 1",
                )?
                .query_row(params![signed(self.boot), next], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
                .optional()
        })?;
        let Some((tick_from, log, input, hash)) = found else { return Ok(None) };
        let ticks = decode(number(tick_from), &log, &input, &hash);
        ticks.map(Some).ok_or(ReadError::Inputs { boot: self.boot, tick: number(tick_from) })
    }
}

/// A span as it is stored: its first tick, the log of its ticks, its inputs, their hash.
type Span = (i64, Vec<u8>, Vec<u8>, Vec<u8>);

fn number(stored: i64) -> u64 {
    u64::try_from(stored).unwrap_or_default()
}
