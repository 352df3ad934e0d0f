//! The API: gRPC services over the shop, the record and the questions that wait for people.
//!
//! [`serve`] is given bound listeners, the shop behind [`ShopDoor`], a reader of the journal, and any future as the sign to stop.
//! No face reaches into the core: snapshots come from a watched view, events from the journal, and commands go through
//! [`ShopDoor::ask`]. A client that reads slowly fills its own buffers and nothing else; its stream of events then reads from the
//! file, and its stream of readings skips.
//!
//! It listens on this computer only. A request says who acts, and that is taken on trust; who may do what comes later.

mod commands;
mod convert;
mod door;
mod error;
mod listen;
mod page;
mod serve;
mod services;
mod stream;

pub use convert::events::event;
pub use convert::planning;
pub use door::{Command, DriverState, DriverStatus, NotAsked, Recipe, ShopDoor};
pub use listen::{Address, BindError, Listener};
pub use serve::{Api, ServeError, serve};
