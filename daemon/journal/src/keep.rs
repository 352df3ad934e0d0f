//! How much of the inputs is kept. Events are kept for good.

use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use crate::write::signed;

/// Bounds on the inputs. What passes either of them goes, the oldest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InputsKept {
    /// The newest so much of running time. Counted on the shop's clock, since the time of day of a headless computer may jump.
    pub time: Duration,
    /// At most so many bytes.
    pub bytes: u64,
}

impl Default for InputsKept {
    /// Ninety days and one gigabyte: a quarter's loads can be looked into, and a small computer's card is not filled (our choice).
    fn default() -> Self {
        Self { time: Duration::from_secs(90 * 24 * 3600), bytes: 1_000_000_000 }
    }
}

/// What there is of inputs on disk.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Stock {
    pub(crate) ms: i64,
    pub(crate) bytes: i64,
}

impl Stock {
    /// Counts what a file holds, over an index that has nothing else to be read.
    pub(crate) fn count(connection: &Connection) -> rusqlite::Result<Self> {
        connection.query_row("SELECT coalesce(sum(took_ms), 0), coalesce(sum(bytes), 0) FROM tick_log", [], |row| {
            Ok(Self { ms: row.get(0)?, bytes: row.get(1)? })
        })
    }

    /// What may stay under these bounds.
    pub(crate) fn within(kept: &InputsKept) -> Self {
        Self { ms: i64::try_from(kept.time.as_millis()).unwrap_or(i64::MAX), bytes: signed(kept.bytes) }
    }

    fn fits(self, most: Self) -> bool {
        self.ms <= most.ms && self.bytes <= most.bytes
    }
}

/// Spans that one transaction gives up at most, so that no commit waits long for it; the next one goes on.
const SPANS_AT_ONCE: usize = 512;

/// Gives up the oldest inputs until the rest fits, and the starts that nothing follows any more. Says what is left.
pub(crate) fn thin(transaction: &Transaction<'_>, mut stock: Stock, most: Stock) -> rusqlite::Result<Stock> {
    if stock.fits(most) {
        return Ok(stock);
    }
    let mut through = None;
    let mut oldest = transaction.prepare_cached("SELECT span, took_ms, bytes FROM tick_log ORDER BY span LIMIT ?1")?;
    let mut rows = oldest.query([signed(SPANS_AT_ONCE as u64)])?;
    while !stock.fits(most) {
        let Some(row) = rows.next()? else { break };
        stock.ms -= row.get::<_, i64>(1)?;
        stock.bytes -= row.get::<_, i64>(2)?;
        through = Some(row.get::<_, i64>(0)?);
    }
    let Some(through) = through else { return Ok(stock) };
    transaction.execute("DELETE FROM input WHERE span <= ?1", [through])?;
    transaction.execute("DELETE FROM tick_log WHERE span <= ?1", [through])?;
    let first: Option<(i64, i64)> = transaction
        .query_row("SELECT boot, tick_from FROM tick_log ORDER BY span LIMIT 1", [], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    if let Some((boot, tick_from)) = first {
        transaction
            .execute("DELETE FROM standing_kept WHERE boot < ?1 OR (boot = ?1 AND tick < ?2 - 1)", params![boot, tick_from])?;
    }
    Ok(stock)
}
