//! What can go wrong with the journal, each with its mend.
//!
//! Trouble while writing is not here: the record thread reports it to its [`Listener`](crate::Listener), keeps what it has and
//! tries again.

use std::path::{Path, PathBuf};

use crate::chain::ChainBreak;
use crate::schema;

/// Why a journal cannot be used. Every text names the file and what to do.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The file or its folder cannot be reached.
    #[error("the journal {path} cannot be opened: {detail}; look whether it is there and whether this user may read and write it, make its folder, or name another file", path = path.display())]
    Unreachable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        detail: String,
    },
    /// Another service has it open.
    #[error("the journal {path} is in use by another service; stop that one, or give this one a journal of its own", path = path.display())]
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// It is a file of something else.
    #[error("{path} is not a Hearthward journal ({detail}); name another file, or move this one away", path = path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What it looks like.
        detail: String,
    },
    /// A later version wrote it.
    #[error("the journal {path} has format {found}, and this version reads formats up to {known}; use the version that wrote it, or a later one", path = path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The newest format known here.
        known: i64,
    },
    /// It is damaged.
    #[error("the journal {path} is damaged: {detail}; move it away together with its -wal and -shm files and start with a new one, keeping the old for the record", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What does not fit.
        detail: String,
    },
    /// The service ended before everything was on disk.
    #[error("the journal {path} could not be written to its end: {detail}; free space on that disk", path = path.display())]
    Unwritten {
        /// The file.
        path: PathBuf,
        /// What the last attempt said.
        detail: String,
    },
}

/// Why events cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// They are no longer kept.
    #[error("events before {oldest} are no longer kept")]
    TooOld {
        /// The oldest event that is.
        oldest: u64,
    },
    /// Events are missing between others, which no version does.
    #[error("the journal has a hole: events {from} to {to} are missing")]
    Hole {
        /// The first that is missing.
        from: u64,
        /// The last that is missing.
        to: u64,
    },
    /// The disk or the file does not give them.
    #[error("the journal cannot be read: {0}")]
    Storage(#[from] rusqlite::Error),
    /// A row holds what no version writes.
    #[error("the journal cannot be read: event {seq}: {detail}")]
    Row {
        /// Which.
        seq: u64,
        /// What does not fit.
        detail: String,
    },
    /// Inputs are not what was written.
    #[error(
        "the inputs from tick {tick} of start {boot} on are damaged or were changed; decisions can be gone through again up to there, and from the next state kept"
    )]
    Inputs {
        /// Which start of the service.
        boot: u64,
        /// The first tick of those that cannot be read.
        tick: u64,
    },
    /// The chain does not hold.
    #[error("the journal does not hold together: {0}")]
    Chain(#[from] ChainBreak),
}

impl ReadError {
    /// The same with the file's name and the mend, for whoever reads a file and not a running service.
    #[must_use]
    pub fn of_file(self, path: &Path) -> JournalError {
        match self {
            Self::Storage(error) => schema::trouble(path, &error),
            other => JournalError::Damaged { path: path.into(), detail: other.to_string() },
        }
    }
}
