//! Exchanges with the devices, through whatever stands for the host's lines.

use hearthward_driver::modbus::{Framing, ModbusError, Reply, Request};
use hearthward_driver::{Bus, Fault, FrameRule, Level, fault, log};

use crate::cuts::CUT_TRANSACTION;
use crate::plan::Block;
use crate::unit::{UnitPlan, Write};

/// Late replies that one read passes over: as many as a silent neighbour can owe by then, its read and its repeated cuts.
const LATE_MOST: usize = 3;

/// The bus, and the number of the next request on it.
#[derive(Debug)]
pub(crate) struct Link<B> {
    pub(crate) bus: B,
    framing: Framing,
    deadline_ms: u32,
    transaction: u16,
}

/// What one read of a unit brought: for each block its words (or bits, one a word), or none if the device refused it.
#[derive(Debug)]
pub(crate) struct Image(Vec<Option<Vec<u16>>>);

impl Image {
    /// The words of an entry.
    pub(crate) fn words(&self, unit: &UnitPlan, entry: usize) -> Option<&[u16]> {
        let place = unit.places[entry];
        self.0.get(place.block)?.as_ref()?.get(place.offset..place.offset + place.words)
    }
}

impl<B> Link<B> {
    pub(crate) fn new(bus: B, framing: Framing, deadline_ms: u32) -> Self {
        Self { bus, framing, deadline_ms, transaction: 0 }
    }

    fn next_transaction(&mut self) -> u16 {
        self.transaction = self.transaction.wrapping_add(1);
        if self.transaction == CUT_TRANSACTION {
            self.transaction += 1;
        }
        self.transaction
    }
}

impl<B: Bus> Link<B> {
    /// Reads all blocks of a unit. A block that the device refuses leaves its entries without words; any other fault ends
    /// the read, because a device that is silent once would only be silent again.
    pub(crate) fn read(&mut self, unit: &UnitPlan) -> Result<Image, Fault> {
        let mut image = Vec::with_capacity(unit.blocks.len());
        let mut refused = None;
        for block in &unit.blocks {
            match self.block(unit, block) {
                Ok(words) => image.push(Some(words)),
                Err(fault) if fault.code == fault::REFUSED => {
                    image.push(None);
                    refused = Some(fault);
                }
                Err(fault) => return Err(fault),
            }
        }
        match refused {
            Some(fault) if image.iter().all(Option::is_none) => Err(fault),
            Some(fault) => {
                log(Level::Debug, &fault.detail);
                Ok(Image(image))
            }
            None => Ok(Image(image)),
        }
    }

    /// Writes, then reads everything back and compares. What already stands in a register that wears out is not written
    /// again, which the first read is for.
    pub(crate) fn apply(&mut self, unit: &UnitPlan, writes: &[Write]) -> Result<Image, Fault> {
        let before = self.read(unit)?;
        let stands = |(entry, raw): &&Write| {
            !unit.entries[*entry].often && before.words(unit, *entry).is_some_and(|words| unit.entries[*entry].holds(words, raw))
        };
        let needed: Vec<&Write> = writes.iter().filter(|write| !stands(write)).collect();
        if needed.is_empty() {
            return Ok(before);
        }
        for (entry, raw) in needed {
            self.write(unit, *entry, raw)?;
        }
        self.confirm(unit, writes)
    }

    /// Takes heat away: every write is tried, whatever became of the others, and nothing is read first.
    pub(crate) fn cut(&mut self, unit: &UnitPlan) -> Result<Image, Fault> {
        if unit.cuts.is_empty() {
            return Err(fault::not_supported(format!("{} has nothing that takes heat away", unit.name)));
        }
        let mut failed = None;
        for (entry, raw) in &unit.cuts {
            if let Err(fault) = self.write(unit, *entry, raw) {
                failed = failed.or(Some(fault));
            }
        }
        match failed {
            Some(fault) => Err(fault),
            None => self.confirm(unit, &unit.cuts),
        }
    }

    fn confirm(&mut self, unit: &UnitPlan, writes: &[Write]) -> Result<Image, Fault> {
        let after = self.read(unit)?;
        for (entry, raw) in writes {
            let entry_of = &unit.entries[*entry];
            if !after.words(unit, *entry).is_some_and(|words| entry_of.holds(words, raw)) {
                let shows = after.words(unit, *entry).map_or_else(|| "nothing".to_owned(), |words| format!("{words:?}"));
                let detail = format!("{} was written as {raw:?} but the device shows {shows}", entry_of.shown);
                return Err(told(unit, fault::new(fault::NOT_CONFIRMED, detail)));
            }
        }
        Ok(after)
    }

    fn write(&mut self, unit: &UnitPlan, entry: usize, raw: &[u16]) -> Result<(), Fault> {
        let entry = &unit.entries[entry];
        let request = entry.write_request(raw);
        let pdu = request.pdu().map_err(|error| told(unit, error.into()))?;
        let rules = self.framing.rules(&request);
        let reply = self.exchange(unit, &request, &pdu, &rules);
        reply.map(|_| ()).map_err(|fault| about(&format!("writing {}", entry.shown), unit, fault))
    }

    fn block(&mut self, unit: &UnitPlan, block: &Block) -> Result<Vec<u16>, Fault> {
        let transaction = self.next_transaction();
        let mut came = self.numbered(transaction, unit, &block.request, &block.pdu, &block.rules);
        // A late reply, a neighbour's perhaps, lay in the way. Asked again under the same number, so that either reply will do.
        for _ in 0..LATE_MOST {
            if !matches!(came, Err(Failed::Modbus(ModbusError::WrongTransaction { .. }))) {
                break;
            }
            came = self.numbered(transaction, unit, &block.request, &block.pdu, &block.rules);
        }
        match came.map_err(Fault::from) {
            Ok(Reply::Registers(words)) => Ok(words),
            Ok(Reply::Bits(bits)) => Ok(bits.into_iter().map(u16::from).collect()),
            // A read is never answered so; the codec has checked.
            Ok(Reply::Written) => Ok(Vec::new()),
            Err(fault) => Err(about(&format!("reading {}", block.words()), unit, fault)),
        }
    }

    fn exchange(&mut self, unit: &UnitPlan, request: &Request, pdu: &[u8], rules: &[FrameRule]) -> Result<Reply, Fault> {
        let transaction = self.next_transaction();
        Ok(self.numbered(transaction, unit, request, pdu, rules)?)
    }

    fn numbered(
        &mut self,
        transaction: u16,
        unit: &UnitPlan,
        request: &Request,
        pdu: &[u8],
        rules: &[FrameRule],
    ) -> Result<Reply, Failed> {
        let sent = self.framing.request(transaction, unit.address, pdu);
        let came = self.bus.exchange(unit.line, &sent, rules, self.deadline_ms)?;
        let pdu = self.framing.reply(transaction, unit.address, &came)?;
        Ok(request.reply(pdu)?)
    }
}

/// Why an exchange failed: on the line, or by what came back.
enum Failed {
    Line(Fault),
    Modbus(ModbusError),
}

impl From<Fault> for Failed {
    fn from(fault: Fault) -> Self {
        Self::Line(fault)
    }
}

impl From<ModbusError> for Failed {
    fn from(error: ModbusError) -> Self {
        Self::Modbus(error)
    }
}

impl From<Failed> for Fault {
    fn from(failed: Failed) -> Self {
        match failed {
            Failed::Line(fault) => fault,
            Failed::Modbus(error) => error.into(),
        }
    }
}

fn about(doing: &str, unit: &UnitPlan, fault: Fault) -> Fault {
    told(unit, fault::new(fault.code, format!("{doing}: {}", fault.detail)))
}

fn told(unit: &UnitPlan, fault: Fault) -> Fault {
    let detail = format!("{} (unit {} on {}): {}", unit.name, unit.address, unit.line_name, fault.detail);
    fault::new(fault.code, detail)
}
