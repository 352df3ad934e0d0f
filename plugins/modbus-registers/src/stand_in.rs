//! A stand-in for a line with devices on it: a small Modbus server, written against the specification and not against our
//! codec's request builder, with the ways of going wrong that tests need.

use std::collections::BTreeMap;

use hearthward_driver::modbus::crc16;
use hearthward_driver::{Bus, Fault, FrameRule, fault};

/// How the next replies go wrong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Trouble {
    #[default]
    None,
    Silent,
    /// The reply carries the number of the request before.
    Late,
    /// Only the next reply does.
    LateOnce,
    OtherUnit,
    /// Reads from this table (function code) are refused.
    Refuses(u8),
    /// Writes are acknowledged and forgotten.
    Forgets,
}

#[derive(Clone, Debug, Default)]
pub(crate) struct StandIn {
    pub(crate) rtu: bool,
    pub(crate) trouble: Trouble,
    /// By unit and address.
    pub(crate) coils: BTreeMap<(u8, u16), bool>,
    pub(crate) holding: BTreeMap<(u8, u16), u16>,
    /// Every request's unit and data, in order.
    pub(crate) seen: Vec<(u8, Vec<u8>)>,
}

impl StandIn {
    pub(crate) fn hold(&mut self, unit: u8, at: u16, words: &[u16]) {
        for (at, word) in (at..).zip(words) {
            self.holding.insert((unit, at), *word);
        }
    }

    /// Writes alone, as function and first address.
    pub(crate) fn writes(&self) -> Vec<(u8, u16)> {
        let writes = self.seen.iter().filter(|(_, pdu)| pdu[0] > 4);
        writes.map(|(_, pdu)| (pdu[0], u16::from_be_bytes([pdu[1], pdu[2]]))).collect()
    }

    pub(crate) fn answer(&mut self, unit: u8, pdu: &[u8]) -> Vec<u8> {
        let word = |at: usize| u16::from_be_bytes([pdu[at], pdu[at + 1]]);
        let (function, at) = (pdu[0], word(1));
        if self.trouble == Trouble::Refuses(function) {
            return vec![function | 0x80, 2];
        }
        let keeps = self.trouble != Trouble::Forgets;
        match function {
            1 | 2 => {
                let mut packed = vec![0; usize::from(word(3)).div_ceil(8)];
                for bit in 0..word(3) {
                    let on = self.coils.get(&(unit, at + bit)).copied().unwrap_or(false);
                    packed[usize::from(bit / 8)] |= u8::from(on) << (bit % 8);
                }
                [vec![function, packed.len() as u8], packed].concat()
            }
            3 | 4 => {
                let words = (at..at + word(3)).map(|at| self.holding.get(&(unit, at)).copied().unwrap_or(0));
                let bytes: Vec<u8> = words.flat_map(u16::to_be_bytes).collect();
                [vec![function, bytes.len() as u8], bytes].concat()
            }
            5 if keeps => {
                self.coils.insert((unit, at), word(3) == 0xFF00);
                pdu.to_vec()
            }
            6 if keeps => {
                self.holding.insert((unit, at), word(3));
                pdu.to_vec()
            }
            16 if keeps => {
                for index in 0..usize::from(word(3)) {
                    self.holding.insert((unit, at + index as u16), word(6 + 2 * index));
                }
                pdu[..5].to_vec()
            }
            22 if keeps => {
                let held = self.holding.entry((unit, at)).or_default();
                *held = (*held & word(3)) | (word(5) & !word(3));
                pdu.to_vec()
            }
            5 | 6 | 22 => pdu.to_vec(),
            16 => pdu[..5].to_vec(),
            _ => vec![function | 0x80, 1],
        }
    }
}

impl Bus for StandIn {
    fn exchange(&mut self, _line: u32, request: &[u8], reply: &[FrameRule], deadline_ms: u32) -> Result<Vec<u8>, Fault> {
        assert!(!reply.is_empty(), "a request without rules could never end");
        if self.trouble == Trouble::Silent {
            return Err(fault::new(fault::TIMED_OUT, format!("no answer within {deadline_ms} ms")));
        }
        let (unit, pdu) = if self.rtu { (request[0], &request[1..request.len() - 2]) } else { (request[6], &request[7..]) };
        self.seen.push((unit, pdu.to_vec()));
        let answer = self.answer(unit, pdu);
        let unit = if self.trouble == Trouble::OtherUnit { unit + 1 } else { unit };
        if self.rtu {
            let mut frame = [vec![unit], answer].concat();
            let crc = crc16(&frame);
            frame.extend_from_slice(&crc.to_le_bytes());
            return Ok(frame);
        }
        let mut transaction = u16::from_be_bytes([request[0], request[1]]);
        if matches!(self.trouble, Trouble::Late | Trouble::LateOnce) {
            transaction -= 1;
        }
        if self.trouble == Trouble::LateOnce {
            self.trouble = Trouble::None;
        }
        let length = 1 + answer.len() as u16;
        Ok([transaction.to_be_bytes().to_vec(), vec![0, 0], length.to_be_bytes().to_vec(), vec![unit], answer].concat())
    }

    fn send(&mut self, _line: u32, _bytes: &[u8]) -> Result<(), Fault> {
        Ok(())
    }
}
