//! The protocol data unit: what is asked and what is answered.

use super::{Exception, ModbusError, READ_BITS_MAX, READ_REGISTERS_MAX, WRITE_COILS_MAX, WRITE_REGISTERS_MAX};

/// The four tables of a Modbus device (APS 4.3). Addresses count from 0, as on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Table {
    /// Single bits, read and written.
    Coil,
    /// Single bits, only read.
    DiscreteInput,
    /// 16 bit words, read and written.
    Holding,
    /// 16 bit words, only read.
    Input,
}

impl Table {
    /// Whether the table holds single bits.
    #[must_use]
    pub fn is_bits(self) -> bool {
        matches!(self, Self::Coil | Self::DiscreteInput)
    }

    /// Whether the table can be written at all.
    #[must_use]
    pub fn is_writable(self) -> bool {
        matches!(self, Self::Coil | Self::Holding)
    }
}

/// One request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// Functions 1 and 2.
    ReadBits {
        /// [`Table::Coil`] or [`Table::DiscreteInput`].
        table: Table,
        /// First address.
        at: u16,
        /// How many, 1 to 2000.
        count: u16,
    },
    /// Functions 3 and 4.
    ReadRegisters {
        /// [`Table::Holding`] or [`Table::Input`].
        table: Table,
        /// First address.
        at: u16,
        /// How many, 1 to 125.
        count: u16,
    },
    /// Function 5.
    WriteCoil {
        /// Address.
        at: u16,
        /// On or off.
        on: bool,
    },
    /// Function 6.
    WriteRegister {
        /// Address.
        at: u16,
        /// The word.
        value: u16,
    },
    /// Function 15.
    WriteCoils {
        /// First address.
        at: u16,
        /// 1 to 1968 of them.
        on: Vec<bool>,
    },
    /// Function 16.
    WriteRegisters {
        /// First address.
        at: u16,
        /// 1 to 123 words.
        values: Vec<u16>,
    },
    /// Function 22: the device computes (word AND `and`) OR (`or` AND NOT `and`), so that other bits are left alone.
    MaskWrite {
        /// Address.
        at: u16,
        /// Bits to keep.
        and: u16,
        /// What the others become.
        or: u16,
    },
}

/// What a sound reply says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// As many bits as were asked for.
    Bits(Vec<bool>),
    /// As many words as were asked for.
    Registers(Vec<u16>),
    /// The write was repeated as sent. Whether it took is for a read to say.
    Written,
}

const COIL_ON: u16 = 0xFF00;
const COIL_OFF: u16 = 0x0000;
const EXCEPTION_BIT: u8 = 0x80;

impl Request {
    /// The function code (APS 5.1).
    #[must_use]
    pub fn function(&self) -> u8 {
        match self {
            Self::ReadBits { table: Table::Coil, .. } => 1,
            Self::ReadBits { .. } => 2,
            Self::ReadRegisters { table: Table::Input, .. } => 4,
            Self::ReadRegisters { .. } => 3,
            Self::WriteCoil { .. } => 5,
            Self::WriteRegister { .. } => 6,
            Self::WriteCoils { .. } => 15,
            Self::WriteRegisters { .. } => 16,
            Self::MaskWrite { .. } => 22,
        }
    }

    /// The bytes of the request.
    ///
    /// # Errors
    /// [`ModbusError::Impossible`] for none, too many, or addresses past the last.
    pub fn pdu(&self) -> Result<Vec<u8>, ModbusError> {
        self.check()?;
        let mut pdu = vec![self.function()];
        let mut word = |value: u16| pdu.extend_from_slice(&value.to_be_bytes());
        match self {
            Self::ReadBits { at, count, .. } | Self::ReadRegisters { at, count, .. } => {
                word(*at);
                word(*count);
            }
            Self::WriteCoil { at, on } => {
                word(*at);
                word(if *on { COIL_ON } else { COIL_OFF });
            }
            Self::WriteRegister { at, value } => {
                word(*at);
                word(*value);
            }
            Self::WriteCoils { at, on } => {
                word(*at);
                word(on.len() as u16);
                let packed = pack(on);
                pdu.push(packed.len() as u8);
                pdu.extend_from_slice(&packed);
            }
            Self::WriteRegisters { at, values } => {
                word(*at);
                word(values.len() as u16);
                pdu.push(2 * values.len() as u8);
                values.iter().for_each(|value| pdu.extend_from_slice(&value.to_be_bytes()));
            }
            Self::MaskWrite { at, and, or } => {
                word(*at);
                word(*and);
                word(*or);
            }
        }
        Ok(pdu)
    }

    /// Bytes of the answer's data unit, if it is not an exception.
    #[must_use]
    pub fn reply_bytes(&self) -> usize {
        match self {
            Self::ReadBits { count, .. } => 2 + usize::from(*count).div_ceil(8),
            Self::ReadRegisters { count, .. } => 2 + 2 * usize::from(*count),
            Self::MaskWrite { .. } => 7,
            _ => 5,
        }
    }

    /// Understands the reply to this request.
    ///
    /// # Errors
    /// An exception, or what says that the reply is not one to this request.
    pub fn reply(&self, pdu: &[u8]) -> Result<Reply, ModbusError> {
        let function = self.function();
        let Some(&came) = pdu.first() else { return Err(ModbusError::WrongLength { wanted: 2, came: 0 }) };
        if came == function | EXCEPTION_BIT {
            return Err(match pdu {
                [_, code] => ModbusError::Exception(Exception(*code)),
                _ => ModbusError::WrongLength { wanted: 2, came: pdu.len() },
            });
        }
        if came != function {
            return Err(ModbusError::WrongFunction { wanted: function, came });
        }
        let wanted = self.reply_bytes();
        if pdu.len() != wanted {
            return Err(ModbusError::WrongLength { wanted, came: pdu.len() });
        }
        match self {
            Self::ReadBits { count, .. } => {
                let packed = counted(pdu)?;
                Ok(Reply::Bits((0..usize::from(*count)).map(|bit| packed[bit / 8] >> (bit % 8) & 1 == 1).collect()))
            }
            Self::ReadRegisters { .. } => {
                let words = counted(pdu)?.chunks_exact(2);
                Ok(Reply::Registers(words.map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect()))
            }
            // Whole echo, or for functions 15 and 16 its first five bytes.
            _ if self.pdu()?[..wanted] == *pdu => Ok(Reply::Written),
            _ => Err(ModbusError::WrongEcho),
        }
    }

    fn check(&self) -> Result<(), ModbusError> {
        let (at, count, most) = match self {
            Self::ReadBits { at, count, .. } => (*at, usize::from(*count), READ_BITS_MAX),
            Self::ReadRegisters { at, count, .. } => (*at, usize::from(*count), READ_REGISTERS_MAX),
            Self::WriteCoils { at, on } => (*at, on.len(), WRITE_COILS_MAX),
            Self::WriteRegisters { at, values } => (*at, values.len(), WRITE_REGISTERS_MAX),
            Self::WriteCoil { .. } | Self::WriteRegister { .. } | Self::MaskWrite { .. } => return Ok(()),
        };
        if count == 0 || count > usize::from(most) || usize::from(at) + count > 0x1_0000 {
            return Err(ModbusError::Impossible { at, count, most });
        }
        Ok(())
    }
}

/// The data of a read's answer, if its own byte count agrees.
fn counted(pdu: &[u8]) -> Result<&[u8], ModbusError> {
    let (wanted, came) = (pdu.len() - 2, usize::from(pdu[1]));
    if wanted == came { Ok(&pdu[2..]) } else { Err(ModbusError::WrongLength { wanted, came }) }
}

fn pack(on: &[bool]) -> Vec<u8> {
    on.chunks(8).map(|bits| bits.iter().enumerate().fold(0, |byte, (bit, &on)| byte | u8::from(on) << bit)).collect()
}

#[cfg(test)]
mod tests;
