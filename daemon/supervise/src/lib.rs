//! The decision core: interlocks, cycles and the chamber's oxygen estimate, as a state machine without I/O.
//!
//! [`Shop::observe`] and [`Shop::request`] only store; [`Shop::tick`] decides. Outputs are drained as values after each tick. Time
//! is an argument. The same inputs give the same outputs, bit for bit.
//!
//! | module | is about |
//! | --- | --- |
//! | [`plan`], [`recipe`] | what the core is told of the shop and of a load |
//! | [`observe`], [`request`] | every way in |
//! | [`output`], [`event`], [`view`] | every way out |
//! | [`rule`] | rules of the shop's own: expressions on points |
//! | [`interlock`] | what withholds heat, and the one door that heat passes through |
//! | [`alarm`] | what people are told, and what they did about it |
//!
//! This is supervision, not a safety-rated system: a hard-wired limit, a door switch and ventilation come first.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "every comparison with what is not a number is false; interlocks are written so that it trips"
)]

pub mod alarm;
mod bypass;
mod cut;
mod cycle;
pub mod event;
mod facts;
pub mod fit;
mod furnace;
mod gas;
pub mod interlock;
#[cfg(test)]
mod models;
pub mod observe;
pub mod output;
pub mod plan;
mod points;
mod proof;
mod purge;
mod questions;
pub mod recipe;
pub mod request;
pub mod rule;
mod shop;
mod standing;
mod tanks;
#[cfg(test)]
mod testing;
pub mod view;
mod wires;

pub use bypass::{BYPASS_MOST, BYPASS_USUAL};
pub use shop::Shop;
pub use standing::{Away, STANDING_FORMAT, Standing};
