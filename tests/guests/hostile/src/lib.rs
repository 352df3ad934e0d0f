//! A driver that misbehaves in one way out of many. Its setting `fault` says how, `good_reads` after how many readings that are
//! as they should be.
//!
//! It speaks for one unit, `victim`, with the faces furnace and points. It is written against the contract's own bindings, not
//! through the SDK's macro, since it must do things that the macro does not let an author do: be well in `check` and hang in
//! `open`, say.

/// How it misbehaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misdeed {
    /// It does not: a control.
    None,
    /// Never returns from a read.
    EndlessLoop,
    /// Never returns from `open`.
    LoopInOpen,
    /// Never returns from `check`.
    LoopInCheck,
    /// Executes an instruction that traps.
    Trap,
    /// Panics with words.
    Panic,
    /// Recurses without end.
    Recursion,
    /// Takes memory without end.
    MemoryBomb,
    /// Returns far more than anybody could want.
    GiantResult,
    /// Calls the host without end.
    CallFlood,
    /// Writes to the log without end.
    LogFlood,
    /// Waits for ever for a device that does not answer.
    SlowRead,
    /// Says that it read what no thermometer can show.
    LyingValues,
    /// Returns texts that are no names.
    BadNames,
    /// Asks for a line that it was not granted.
    OtherLine,
}

/// The words of the setting `fault`.
pub const MISDEEDS: [(&str, Misdeed); 15] = [
    ("none", Misdeed::None),
    ("endless-loop", Misdeed::EndlessLoop),
    ("loop-in-open", Misdeed::LoopInOpen),
    ("loop-in-check", Misdeed::LoopInCheck),
    ("trap", Misdeed::Trap),
    ("panic", Misdeed::Panic),
    ("recursion", Misdeed::Recursion),
    ("memory-bomb", Misdeed::MemoryBomb),
    ("giant-result", Misdeed::GiantResult),
    ("call-flood", Misdeed::CallFlood),
    ("log-flood", Misdeed::LogFlood),
    ("slow-read", Misdeed::SlowRead),
    ("lying-values", Misdeed::LyingValues),
    ("bad-names", Misdeed::BadNames),
    ("other-line", Misdeed::OtherLine),
];

/// What a panic says, so that a test can find it in the log.
pub const PANIC_WORDS: &str = "the hostile guest panics with these words";

#[cfg(target_arch = "wasm32")]
mod guest;
