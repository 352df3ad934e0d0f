//! A Modbus codec without any I/O: bytes in, bytes out.
//!
//! [`Request`] is what is asked (the protocol data unit), [`Framing`] how it travels (TCP or RTU). Both follow the published
//! specifications: *MODBUS Application Protocol Specification V1.1b3* (called APS in the tests), *MODBUS Messaging on TCP/IP
//! Implementation Guide V1.0b* and *MODBUS over Serial Line V1.02*.
//!
//! ```
//! use hearthward_driver::modbus::{Framing, Reply, Request, Table};
//!
//! let ask = Request::ReadRegisters { table: Table::Holding, at: 107, count: 3 };
//! let sent = Framing::Tcp.request(0x1501, 17, &ask.pdu()?);
//! // ... exchanged on a line, with `Framing::Tcp.rules(&ask)` ...
//! let came = [0x15, 0x01, 0, 0, 0, 9, 17, 0x03, 6, 0x02, 0x2B, 0, 0, 0, 0x64];
//! let reply = ask.reply(Framing::Tcp.reply(0x1501, 17, &came)?)?;
//! assert_eq!(reply, Reply::Registers(vec![555, 0, 100]));
//! # assert_eq!(sent.len(), 12);
//! # Ok::<(), hearthward_driver::modbus::ModbusError>(())
//! ```
//!
//! Silence between RTU frames (3.5 characters) is the line's business and not seen here.

mod crc;
mod error;
mod framing;
mod request;

pub use crc::crc16;
pub use error::{Exception, ModbusError};
pub use framing::Framing;
pub use request::{Reply, Request, Table};

/// Most bits that one read may ask for (APS 6.1).
pub const READ_BITS_MAX: u16 = 2000;
/// Most registers that one read may ask for (APS 6.3).
pub const READ_REGISTERS_MAX: u16 = 125;
/// Most coils that one write may carry (APS 6.11).
pub const WRITE_COILS_MAX: u16 = 1968;
/// Most registers that one write may carry (APS 6.12).
pub const WRITE_REGISTERS_MAX: u16 = 123;
