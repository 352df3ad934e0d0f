//! The codes of faults, as in the table of `sdk/README.md`, and the words to make one.
//!
//! The list may grow; a code never changes its meaning. A daemon that does not know a code treats it as [`OTHER`].

use crate::Fault;

/// Anything that has no code of its own, a driver's own mistake among it.
pub const OTHER: u32 = 0;
/// No answer, or not the whole of it, before the deadline.
pub const TIMED_OUT: u32 = 1;
/// The line is not there or was lost.
pub const LINE_DOWN: u32 = 2;
/// An answer that makes no sense: length, check sum, framing, another unit's or to another request.
pub const BAD_ANSWER: u32 = 3;
/// The device understood and refused.
pub const REFUSED: u32 = 4;
/// The driver has no such unit, point or power.
pub const NOT_SUPPORTED: u32 = 5;
/// The settings do not allow it: a value of the wrong kind or out of range, a point that is only read.
pub const NOT_ALLOWED: u32 = 6;
/// A cut overtook the call, which was therefore not carried out.
pub const WITHDRAWN: u32 = 7;
/// A bound of the host was reached: time, memory, calls, size.
pub const LIMIT: u32 = 8;
/// Written without complaint, but the device then shows something else.
pub const NOT_CONFIRMED: u32 = 9;

/// A fault with any code.
#[must_use]
pub fn new(code: u32, detail: impl Into<String>) -> Fault {
    Fault { code, detail: detail.into() }
}

/// [`NOT_SUPPORTED`], for an index past the end.
#[must_use]
pub fn no_unit(unit: usize) -> Fault {
    new(NOT_SUPPORTED, format!("there is no unit with index {unit}"))
}

/// [`NOT_SUPPORTED`], with what is missing.
#[must_use]
pub fn not_supported(detail: impl Into<String>) -> Fault {
    new(NOT_SUPPORTED, detail)
}

/// [`NOT_ALLOWED`], with what does not fit and what would.
#[must_use]
pub fn not_allowed(detail: impl Into<String>) -> Fault {
    new(NOT_ALLOWED, detail)
}
