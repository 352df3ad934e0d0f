//! The service as a library: configuration, wiring, the shop loop and the command line. The program only calls [`cli::run`].
//!
//! The start-up order is in [`start`](mod@start), the end in [`run`](mod@run). [`settings`] reads, [`wiring`] finds addresses, [`assembly`] brings
//! both together with what the drivers say; [`shop`] is the core's thread and its front door.

pub mod assembly;
pub mod cli;
mod demo;
pub mod exit;
pub mod run;
pub mod settings;
pub mod shop;
pub mod start;
pub mod watchdog;
pub mod wiring;
