//! The decision core: interlocks, cycles and the chamber's oxygen estimate, as a state machine without I/O.
//!
//! [`Shop::observe`] and [`Shop::request`] only store; [`Shop::tick`] decides. Outputs are drained as values after each tick. Time
//! is an argument. The same inputs give the same outputs, bit for bit.

pub mod event;
pub mod interlock;
pub mod observe;
pub mod output;
pub mod plan;
pub mod recipe;
pub mod request;
pub mod view;
