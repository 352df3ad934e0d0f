//! Inputs on their way to disk: gathered in memory for a minute, or until something happens that they led to.

use rusqlite::{Connection, Transaction, params};

use crate::batch::Batch;
use crate::keep::{InputsKept, Stock, thin};
use crate::span::Span;
use crate::write::signed;

/// Inputs are written at least this often, in milliseconds of the shop's time: what a power cut may take of them.
const AT_LEAST_EVERY_MS: u64 = 60_000;

/// Readings that wait at most: half a megabyte of a small computer's memory, and enough for the columns to be short.
const MOST_WAITING: usize = 1 << 14;

/// What waits to be written, and how much there is on disk.
#[derive(Debug)]
pub(crate) struct InputWriter {
    boot: i64,
    kept: InputsKept,
    stock: Stock,
    /// Ticks without a gap; more than one span only where a gap lies between.
    waiting: Vec<Span>,
}

impl InputWriter {
    /// Nothing waits yet.
    pub(crate) fn new(connection: &Connection, boot: i64, kept: InputsKept) -> rusqlite::Result<Self> {
        Ok(Self { boot, kept, stock: Stock::count(connection)?, waiting: Vec::new() })
    }

    /// Takes the inputs out of a batch, once, before the first attempt to write it.
    pub(crate) fn take(&mut self, batch: &mut Batch) {
        let Some(inputs) = batch.inputs.take() else { return };
        if !self.waiting.last().is_some_and(|span| span.takes(batch.tick)) {
            self.waiting.push(Span::new(batch.tick, batch.wall_ms));
        }
        if let Some(span) = self.waiting.last_mut() {
            span.push(batch.tick, batch.at, &inputs);
        }
    }

    /// Whether what waits has waited long enough, or is much.
    pub(crate) fn is_due(&self) -> bool {
        self.waiting.len() > 1
            || self.waiting.iter().any(|span| {
                let (_, first, last) = span.bounds();
                last.0.saturating_sub(first.0) >= AT_LEAST_EVERY_MS || span.readings() >= MOST_WAITING || span.is_full()
            })
    }

    /// Writes all that waits, and the states that a replay may begin at; gives up what is kept no longer. Says what is on disk then.
    pub(crate) fn write(&self, transaction: &Transaction<'_>, group: &[Batch]) -> rusqlite::Result<Stock> {
        let mut stock = self.stock;
        for span in &self.waiting {
            let (tick_to, first, last) = span.bounds();
            let Ok(encoded) = span.encode() else {
                tracing::error!(tick = span.tick_from, "inputs could not be packed; decisions cannot be gone through again here");
                continue;
            };
            let bytes = signed((encoded.log.len() + encoded.input.len()) as u64);
            let took_ms = signed(last.0.saturating_sub(first.0));
            transaction
                .prepare_cached(
                    "INSERT INTO tick_log (boot, tick_from, tick_to, mono_ms, took_ms, wall_ms, bytes, hash, body)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                )?
                .execute(params![
                    self.boot,
                    signed(span.tick_from),
                    signed(tick_to),
                    signed(first.0),
                    took_ms,
                    span.wall_ms,
                    bytes,
                    encoded.hash,
                    encoded.log
                ])?;
            transaction
                .prepare_cached("INSERT INTO input (span, body) VALUES (?1, ?2)")?
                .execute(params![transaction.last_insert_rowid(), encoded.input])?;
            stock.ms += took_ms;
            stock.bytes += bytes;
        }
        for batch in group {
            let Some(kept) = &batch.kept else { continue };
            transaction
                .prepare_cached(
                    "INSERT OR REPLACE INTO standing_kept (boot, tick, mono_ms, format, away_ms, body) VALUES (?1, ?2, ?3, ?4, NULL, ?5)",
                )?
                .execute(params![self.boot, signed(batch.tick.0), signed(batch.at.0), kept.format, kept.body])?;
        }
        thin(transaction, stock, Stock::within(&self.kept))
    }

    /// What waited is on disk, and this is what there is now.
    pub(crate) fn is_written(&mut self, stock: Stock) {
        self.waiting.clear();
        self.stock = stock;
    }

    /// Gives up the oldest tenth.
    pub(crate) fn thin_by_a_tenth(&self, transaction: &Transaction<'_>) -> rusqlite::Result<Stock> {
        thin(transaction, self.stock, Stock { ms: i64::MAX, bytes: self.stock.bytes / 10 * 9 })
    }

    /// This is what there is now.
    pub(crate) fn is_thinned(&mut self, stock: Stock) {
        self.stock = stock;
    }
}
