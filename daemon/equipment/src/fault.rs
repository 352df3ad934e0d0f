//! What a driver or a line reports when something does not work.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The kinds of fault of driver contract 0.1; unknown numbers stay as they are, so that a later driver can add some.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct FaultCode(pub u32);

impl FaultCode {
    /// Anything that has no code of its own.
    pub const OTHER: Self = Self(0);
    /// No answer before the deadline.
    pub const TIMED_OUT: Self = Self(1);
    /// The line is not there or was lost.
    pub const LINE_DOWN: Self = Self(2);
    /// An answer that makes no sense: length, checksum, wrong unit.
    pub const BAD_ANSWER: Self = Self(3);
    /// The device refused the request.
    pub const REFUSED: Self = Self(4);
    /// The driver has no such unit, point or power.
    pub const NOT_SUPPORTED: Self = Self(5);
    /// The settings do not allow it.
    pub const NOT_ALLOWED: Self = Self(6);
    /// A cut overtook the call, which was therefore not carried out.
    pub const WITHDRAWN: Self = Self(7);
    /// A bound of the host was reached: time, memory, calls, size.
    pub const LIMIT: Self = Self(8);
}

/// A fault with its code and words for people.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
pub struct Fault {
    /// What kind.
    pub code: FaultCode,
    /// What happened, in a sentence.
    pub detail: String,
}

impl Fault {
    /// A fault of a kind.
    #[must_use]
    pub fn new(code: FaultCode, detail: impl Into<String>) -> Self {
        Self { code, detail: detail.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (fault {})", self.detail, self.code.0)
    }
}
