//! Joining registers that stand near each other into one request: on a serial line every request costs a turnaround, which
//! is worth many registers.

use hearthward_driver::FrameRule;
use hearthward_driver::modbus::{Framing, READ_BITS_MAX, READ_REGISTERS_MAX, Request, Table};

use crate::entry::Entry;

/// How far joining may go.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joining {
    /// Unused registers that may be read along. A bit counts a sixteenth of one.
    pub(crate) gap: u16,
    /// Most registers in one request; some devices take fewer than the specification allows.
    pub(crate) most: u16,
}

/// One request of a read, ready to be sent.
#[derive(Clone, Debug)]
pub(crate) struct Block {
    pub(crate) request: Request,
    pub(crate) pdu: Vec<u8>,
    pub(crate) rules: Vec<FrameRule>,
    table: Table,
    at: u16,
    count: u16,
}

/// Where an entry's words are in what the blocks bring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) block: usize,
    pub(crate) offset: usize,
    pub(crate) words: usize,
}

/// The blocks, and for each entry, in the order given, its place.
pub(crate) fn plan(entries: &[Entry], framing: Framing, joining: Joining) -> (Vec<Block>, Vec<Place>) {
    let mut order: Vec<usize> = (0..entries.len()).collect();
    order.sort_by_key(|&index| (entries[index].table, entries[index].at));
    let mut spans: Vec<(Table, u16, u16)> = Vec::new();
    let mut places = vec![Place { block: 0, offset: 0, words: 1 }; entries.len()];
    for index in order {
        let entry = &entries[index];
        let end = u32::from(entry.at) + u32::from(entry.words());
        match spans.last_mut() {
            Some((table, at, count)) if *table == entry.table && joins(*table, *at, *count, entry, joining) => {
                *count = (*count).max((end - u32::from(*at)) as u16);
            }
            _ => spans.push((entry.table, entry.at, entry.words())),
        }
        let (_, at, _) = spans[spans.len() - 1];
        places[index] = Place { block: spans.len() - 1, offset: usize::from(entry.at - at), words: usize::from(entry.words()) };
    }
    (spans.into_iter().filter_map(|(table, at, count)| Block::new(table, at, count, framing)).collect(), places)
}

fn joins(table: Table, at: u16, count: u16, entry: &Entry, joining: Joining) -> bool {
    let (gap, most) = if table.is_bits() {
        (joining.gap.saturating_mul(16), joining.most.saturating_mul(16).min(READ_BITS_MAX))
    } else {
        (joining.gap, joining.most.min(READ_REGISTERS_MAX))
    };
    let end = u32::from(at) + u32::from(count);
    let length = u32::from(entry.at) + u32::from(entry.words()) - u32::from(at);
    u32::from(entry.at) <= end + u32::from(gap) && length <= u32::from(most.max(entry.words()))
}

impl Block {
    /// None only for a span that no request can ask for, which the map has refused before.
    fn new(table: Table, at: u16, count: u16, framing: Framing) -> Option<Self> {
        let request =
            if table.is_bits() { Request::ReadBits { table, at, count } } else { Request::ReadRegisters { table, at, count } };
        let pdu = request.pdu().ok()?;
        Some(Self { rules: framing.rules(&request), pdu, request, table, at, count })
    }

    /// For messages: "holding 100 to 103".
    pub(crate) fn words(&self) -> String {
        let table = match self.table {
            Table::Coil => "coil",
            Table::DiscreteInput => "discrete input",
            Table::Holding => "holding register",
            Table::Input => "input register",
        };
        let last = u32::from(self.at) + u32::from(self.count) - 1;
        if self.count == 1 { format!("{table} {}", self.at) } else { format!("{table}s {} to {last}", self.at) }
    }
}
