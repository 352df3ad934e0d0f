//! The codes that the program ends with.

use std::process::ExitCode;

/// How a command ended. The numbers are part of the interface and listed in `hearthward --help` and `deploy/README.md`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done = 0,
    /// The service or the arithmetic refused what was asked, the demo did not end as it should, or a replay came out otherwise.
    Refused = 1,
    /// The command line was not understood, or a value in it is outside what can be worked out.
    Usage = 2,
    /// The configuration has problems.
    Configuration = 3,
    /// The service cannot be reached.
    Unreachable = 4,
    /// The service could not start or had to end: journal, socket, host.
    Failed = 5,
    /// The service took a command and its answer is not on record yet, so that nobody knows whether it was accepted.
    Unanswered = 6,
}

impl Exit {
    /// The word for programs, which a failure under `--json` carries as its reason.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Refused => "refused",
            Self::Usage => "usage",
            Self::Configuration => "configuration",
            Self::Unreachable => "unreachable",
            Self::Failed => "failed",
            Self::Unanswered => "unanswered",
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

/// What ended a command early, with the code that it ends with.
#[derive(Debug, thiserror::Error)]
#[error("{words}")]
pub struct Ended {
    /// The code.
    pub exit: Exit,
    /// Words for a person; none when there is nothing to say or nobody to say it to.
    pub words: String,
}

impl Ended {
    /// Ends because nobody reads any more what is printed.
    #[must_use]
    pub fn quietly() -> Self {
        Self { exit: Exit::Done, words: String::new() }
    }

    /// Ends with a code and words.
    pub fn new(exit: Exit, words: impl Into<String>) -> Self {
        Self { exit, words: words.into() }
    }
}
