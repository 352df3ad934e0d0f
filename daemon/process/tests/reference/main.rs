//! The crate against values that others computed: every table of `tests/data` within its stated tolerance.
//!
//! One module for each subject; `tests/data/README.md` lists the tables, where they come from and how close they must be.

mod bits;
mod cylinder;
mod furnace;
mod gas;
mod heating;
mod jet;
mod meter;
mod oxide;
mod plan;
mod properties;
mod purge;
mod quantities;
mod quench;
mod room;
mod stack;
mod steel;
mod table;
mod thermocouple;
mod transfer;
mod trials;
mod worked;
