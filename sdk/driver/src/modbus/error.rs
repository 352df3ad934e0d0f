//! What can be wrong with a request or a reply.

use std::fmt;

use crate::{Fault, fault};

/// An exception reply's code (APS 7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exception(pub u8);

impl fmt::Display for Exception {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.0 {
            1 => "illegal function",
            2 => "illegal data address",
            3 => "illegal data value",
            4 => "server device failure",
            5 => "acknowledge, still working",
            6 => "server device busy",
            8 => "memory parity error",
            10 => "gateway path unavailable",
            11 => "gateway target device failed to respond",
            _ => "not in the specification",
        };
        write!(f, "exception {} ({name})", self.0)
    }
}

/// Why a request cannot be made or a reply not be used. None of them is retried here: that is for the host to decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ModbusError {
    /// The request asks for nothing, for too much, or past the last address. A mistake of the caller.
    Impossible {
        /// First address asked for.
        at: u16,
        /// How many.
        count: usize,
        /// Most that this kind of request may ask for.
        most: u16,
    },
    /// A sound frame from another unit: two devices on one address, or a reply that came too late.
    WrongUnit {
        /// The unit that was asked.
        wanted: u8,
        /// The unit that answered.
        came: u8,
    },
    /// A sound frame to another request: a reply that came too late.
    WrongTransaction {
        /// The number that was sent.
        wanted: u16,
        /// The number that came back.
        came: u16,
    },
    /// The protocol field of a TCP frame is not 0: the peer does not speak Modbus.
    WrongProtocol(u16),
    /// The frame, or a count in it, is not as long as the request makes it.
    WrongLength {
        /// Bytes that there should be.
        wanted: usize,
        /// Bytes that there are.
        came: usize,
    },
    /// The reply is to another function.
    WrongFunction {
        /// The function that was asked.
        wanted: u8,
        /// The function that came back.
        came: u8,
    },
    /// A write's echo differs from what was sent.
    WrongEcho,
    /// An RTU frame's check sum does not fit: noise, wrong speed, two devices at once.
    WrongCheckSum {
        /// Made from the bytes that came.
        wanted: u16,
        /// As it came.
        came: u16,
    },
    /// The device understood and said no.
    Exception(Exception),
}

impl fmt::Display for ModbusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Impossible { at, count, most } => {
                write!(f, "{count} items from address {at} cannot be asked for at once (1 to {most}, up to 65535)")
            }
            Self::WrongUnit { wanted, came } => write!(f, "unit {wanted} was asked, unit {came} answered"),
            Self::WrongTransaction { wanted, came } => {
                write!(f, "the answer belongs to request {came}, not to {wanted}: it came too late")
            }
            Self::WrongProtocol(came) => write!(f, "protocol field is {came}, not 0: this is not Modbus"),
            Self::WrongLength { wanted, came } => write!(f, "the answer has {came} bytes where {wanted} belong"),
            Self::WrongFunction { wanted, came } => write!(f, "function {wanted} was asked, function {came} answered"),
            Self::WrongEcho => write!(f, "the device did not repeat the write as it was sent"),
            Self::WrongCheckSum { wanted, came } => write!(f, "check sum is {came:04X}, should be {wanted:04X}"),
            Self::Exception(exception) => write!(f, "the device answered with {exception}"),
        }
    }
}

impl std::error::Error for ModbusError {}

impl From<ModbusError> for Fault {
    fn from(error: ModbusError) -> Self {
        let code = match error {
            ModbusError::Impossible { .. } => fault::OTHER,
            ModbusError::Exception(_) => fault::REFUSED,
            ModbusError::WrongUnit { .. }
            | ModbusError::WrongTransaction { .. }
            | ModbusError::WrongProtocol(_)
            | ModbusError::WrongLength { .. }
            | ModbusError::WrongFunction { .. }
            | ModbusError::WrongEcho
            | ModbusError::WrongCheckSum { .. } => fault::BAD_ANSWER,
        };
        fault::new(code, error.to_string())
    }
}
