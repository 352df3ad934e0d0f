//! The API as a client sees it: a real client over real sockets, against a shop that does what its script says.

mod alarms;
mod commands;
mod common;
mod conventions;
mod events;
mod listening;
mod pages;
mod plan;
mod planning;
mod snapshot;
