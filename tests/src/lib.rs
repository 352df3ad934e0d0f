//! What the end-to-end tests and the benchmarks are made of: the daemon as it is installed, equipment that we did not write
//! (a Modbus TCP server on pymodbus) and a client that we did not write (grpcio on the published contract).
//!
//! Everything here runs real processes and panics with what they said when they do not do as they should; it is for tests only.

pub mod client;
pub mod daemon;
pub mod equipment;
pub mod person;
pub mod place;
pub mod shop;
pub mod talk;
