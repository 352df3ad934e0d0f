//! How a protocol data unit travels.

use super::{ModbusError, Request, crc16};
use crate::{FrameRule, frame};

/// The two framings. A TCP line may carry either: some converters pass RTU frames through unchanged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framing {
    /// Header of seven bytes with a transaction number; no check sum.
    Tcp,
    /// Unit, data, check sum.
    Rtu,
}

/// Transaction, protocol, length, unit.
const MBAP_BYTES: usize = 7;
/// Bytes of the header that the length field does not count.
const MBAP_UNCOUNTED_BYTES: usize = 6;
/// Unit in front, check sum behind.
const RTU_BYTES: usize = 3;
/// Function and code.
const EXCEPTION_PDU_BYTES: usize = 2;

impl Framing {
    /// The whole request. `transaction` is not used by RTU.
    #[must_use]
    pub fn request(self, transaction: u16, unit: u8, pdu: &[u8]) -> Vec<u8> {
        let mut frame = Vec::with_capacity(MBAP_BYTES + pdu.len());
        match self {
            Self::Tcp => {
                // A protocol data unit has 253 bytes at most (APS 4.1), so the length always fits.
                let counted = u16::try_from(1 + pdu.len()).unwrap_or(u16::MAX);
                frame.extend_from_slice(&transaction.to_be_bytes());
                frame.extend_from_slice(&[0, 0]);
                frame.extend_from_slice(&counted.to_be_bytes());
                frame.push(unit);
                frame.extend_from_slice(pdu);
            }
            Self::Rtu => {
                frame.push(unit);
                frame.extend_from_slice(pdu);
                let crc = crc16(&frame);
                frame.extend_from_slice(&crc.to_le_bytes());
            }
        }
        frame
    }

    /// Where the reply ends. An exception is shorter than an answer: TCP says so in its header, RTU in its function byte.
    #[must_use]
    pub fn rules(self, request: &Request) -> Vec<FrameRule> {
        match self {
            Self::Tcp => vec![frame::length(4, 2, MBAP_UNCOUNTED_BYTES as i32)],
            Self::Rtu => vec![
                frame::fixed_if(1, 0x80, 0x80, (RTU_BYTES + EXCEPTION_PDU_BYTES) as u32),
                frame::fixed((RTU_BYTES + request.reply_bytes()) as u32),
            ],
        }
    }

    /// Bytes of the whole answer, for the line's load.
    #[must_use]
    pub fn reply_bytes(self, request: &Request) -> usize {
        self.around() + request.reply_bytes()
    }

    /// Takes the frame off a reply.
    ///
    /// # Errors
    /// What says that the frame is broken, of another unit, or to another request.
    pub fn reply(self, transaction: u16, unit: u8, frame: &[u8]) -> Result<&[u8], ModbusError> {
        // The shortest data unit is an exception's.
        let least = self.around() + EXCEPTION_PDU_BYTES;
        if frame.len() < least {
            return Err(ModbusError::WrongLength { wanted: least, came: frame.len() });
        }
        let (pdu, came) = match self {
            Self::Tcp => (&frame[MBAP_BYTES..], frame[6]),
            Self::Rtu => (&frame[1..frame.len() - 2], frame[0]),
        };
        match self {
            Self::Tcp => check_header(transaction, frame)?,
            Self::Rtu => check_sum(frame)?,
        }
        if came != unit {
            return Err(ModbusError::WrongUnit { wanted: unit, came });
        }
        Ok(pdu)
    }

    fn around(self) -> usize {
        match self {
            Self::Tcp => MBAP_BYTES,
            Self::Rtu => RTU_BYTES,
        }
    }
}

fn check_header(transaction: u16, frame: &[u8]) -> Result<(), ModbusError> {
    let field = |at: usize| u16::from_be_bytes([frame[at], frame[at + 1]]);
    let (came, protocol, counted) = (field(0), field(2), usize::from(field(4)));
    if protocol != 0 {
        return Err(ModbusError::WrongProtocol(protocol));
    }
    if counted + MBAP_UNCOUNTED_BYTES != frame.len() {
        return Err(ModbusError::WrongLength { wanted: counted + MBAP_UNCOUNTED_BYTES, came: frame.len() });
    }
    if came != transaction {
        return Err(ModbusError::WrongTransaction { wanted: transaction, came });
    }
    Ok(())
}

fn check_sum(frame: &[u8]) -> Result<(), ModbusError> {
    let (body, tail) = frame.split_at(frame.len() - 2);
    let (wanted, came) = (crc16(body), u16::from_le_bytes([tail[0], tail[1]]));
    if wanted == came { Ok(()) } else { Err(ModbusError::WrongCheckSum { wanted, came }) }
}

#[cfg(test)]
mod tests {
    use super::super::Table;
    use super::*;
    use crate::Extent;

    /// Goal: the header of *Messaging on TCP/IP V1.0b*, 4.4.2: transaction 1501, unit FF, one register at 4 (from memory).
    #[test]
    fn the_header_of_the_guide() {
        let ask = Request::ReadRegisters { table: Table::Holding, at: 4, count: 1 };
        let frame = Framing::Tcp.request(0x1501, 0xFF, &ask.pdu().expect("possible"));
        assert_eq!(frame, [0x15, 0x01, 0x00, 0x00, 0x00, 0x06, 0xFF, 0x03, 0x00, 0x04, 0x00, 0x01]);
    }

    /// Goal: unit, data, check sum with its low byte first: *Serial Line V1.02*, 2.5.1.2 and 6.2.2 (example 02 07 from memory).
    #[test]
    fn the_check_sum_goes_low_byte_first() {
        assert_eq!(Framing::Rtu.request(0, 0x02, &[0x07]), [0x02, 0x07, 0x41, 0x12]);
    }

    /// Goal: each way in which a TCP frame can be somebody else's or broken has its own error.
    #[test]
    fn tcp_frames_that_are_not_ours() {
        let sound = [0x00, 0x07, 0x00, 0x00, 0x00, 0x05, 0x11, 0x03, 0x02, 0x00, 0x0A];
        let take = |frame: &[u8]| Framing::Tcp.reply(7, 0x11, frame).map(<[u8]>::to_vec);
        let with = |at: usize, byte: u8| {
            let mut frame = sound;
            frame[at] = byte;
            take(&frame)
        };
        assert_eq!(take(&sound), Ok(vec![0x03, 0x02, 0x00, 0x0A]));
        assert_eq!(with(1, 6), Err(ModbusError::WrongTransaction { wanted: 7, came: 6 }));
        assert_eq!(with(2, 1), Err(ModbusError::WrongProtocol(0x100)));
        assert_eq!(with(5, 6), Err(ModbusError::WrongLength { wanted: 12, came: 11 }));
        assert_eq!(with(6, 0x12), Err(ModbusError::WrongUnit { wanted: 0x11, came: 0x12 }));
        assert_eq!(take(&sound[..8]), Err(ModbusError::WrongLength { wanted: 9, came: 8 }));
    }

    /// Goal: an RTU frame is checked before it is believed, the unit included.
    #[test]
    fn rtu_frames_that_are_not_ours() {
        let sound = Framing::Rtu.request(0, 0x11, &[0x03, 0x02, 0x00, 0x0A]);
        assert_eq!(Framing::Rtu.reply(0, 0x11, &sound), Ok(&[0x03, 0x02, 0x00, 0x0A][..]));
        assert_eq!(Framing::Rtu.reply(0, 0x12, &sound), Err(ModbusError::WrongUnit { wanted: 0x12, came: 0x11 }));
        let mut noisy = sound.clone();
        noisy[3] ^= 0x40;
        assert!(matches!(Framing::Rtu.reply(0, 0x11, &noisy), Err(ModbusError::WrongCheckSum { .. })));
        assert_eq!(Framing::Rtu.reply(0, 0x11, &sound[..4]), Err(ModbusError::WrongLength { wanted: 5, came: 4 }));
    }

    /// Goal: the rules end an RTU answer and an RTU exception where they end (APS 6.3: answer of 3 registers has 8 bytes;
    /// APS 7: an exception has 2), plus unit and check sum.
    #[test]
    fn rtu_rules_know_both_ends() {
        let ask = Request::ReadRegisters { table: Table::Holding, at: 107, count: 3 };
        let rules = Framing::Rtu.rules(&ask);
        assert_eq!((rules[0].at, rules[0].mask, rules[0].equals), (1, 0x80, 0x80));
        assert_eq!(rules[0].extent, Extent::Fixed(5));
        assert_eq!((rules[1].mask, &rules[1].extent), (0, &Extent::Fixed(11)));
    }
}
