//! The planner's questions: from the fields of a request to the quantities of `hearthward-process`, and its answers back.
//!
//! This is the one place where a question is understood: the service and the command line both come through here. Fields are
//! checked one by one, so that a refusal names the field; what was left out is taken as usual, and the answer's notes say so.

mod answer;
mod asked;
mod chamber;
mod cycle;
mod furnace;
mod gas;
mod quench;
mod recipe;
mod steel;

pub use answer::message;
pub use asked::Unplanned;
pub use chamber::{leak, meter_check};
pub use cycle::{Load, cycle};
pub use furnace::{furnace, interrupted};
pub use gas::{cylinder, purge};
pub use quench::{bath, plates, transfer};
pub use steel::{heat_up, temper};
