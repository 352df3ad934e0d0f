//! The codes of faults, as in the table of `sdk/README.md`, and the words to make one.
//!
//! The list may grow; a code never changes its meaning. A daemon that does not know a code treats it as [`DEVICE`].

use crate::Fault;

/// The driver has no unit with this index.
pub const NO_UNIT: u32 = 1;
/// No answer, or not the whole of it, within the deadline.
pub const TIMEOUT: u32 = 2;
/// The line is not open, or the driver itself is not.
pub const NOT_OPEN: u32 = 3;
/// The unit has no such thing, or has it only for reading.
pub const NOT_THERE: u32 = 4;
/// A value or a setting that does not fit: wrong kind, out of range, not allowed now.
pub const REFUSED: u32 = 5;
/// The reply cannot be understood: wrong length, wrong check sum, wrong function.
pub const GARBLED: u32 = 6;
/// The host withdrew the exchange in favour of a cut.
pub const WITHDRAWN: u32 = 7;
/// A sound reply, but of another unit or to another request.
pub const NOT_OURS: u32 = 8;
/// The device understood and said no.
pub const DEVICE: u32 = 9;
/// Written without complaint, but the device then shows something else.
pub const NOT_CONFIRMED: u32 = 10;
/// A limit of the host was reached: reply too long, too many calls.
pub const LIMIT: u32 = 11;
/// The driver's own mistake.
pub const DRIVER: u32 = 12;

/// A fault with any code.
#[must_use]
pub fn new(code: u32, detail: impl Into<String>) -> Fault {
    Fault { code, detail: detail.into() }
}

/// [`NO_UNIT`], for an index past the end.
#[must_use]
pub fn no_unit(unit: usize) -> Fault {
    new(NO_UNIT, format!("there is no unit with index {unit}"))
}

/// [`NOT_THERE`], with what is missing.
#[must_use]
pub fn not_there(detail: impl Into<String>) -> Fault {
    new(NOT_THERE, detail)
}

/// [`REFUSED`], with what does not fit and what would.
#[must_use]
pub fn refused(detail: impl Into<String>) -> Fault {
    new(REFUSED, detail)
}
