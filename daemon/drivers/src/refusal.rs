//! Why a driver is not taken, in words for the person who named it.

use std::path::PathBuf;

/// Why a component is refused before any of its code runs.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The file cannot be read. Check the path and who may read it.
    #[error("{}: cannot be read: {why}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: String,
    },
    /// The file is larger than any driver: compiling it could stop the service.
    #[error("{}: {bytes} bytes are more than the {most} that a driver may have", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
        /// The limit.
        most: u64,
    },
    /// The file is not the one that the configuration pins. Check where it came from before changing the pin.
    #[error("{}: its SHA-256 is {found}, the configuration says {pinned}", path.display())]
    WrongDigest {
        /// The file.
        path: PathBuf,
        /// As configured.
        pinned: String,
        /// As it is.
        found: String,
    },
    /// Not WebAssembly, or WebAssembly that exports no driver.
    #[error("{}: is not a driver: {why}", path.display())]
    NotADriver {
        /// The file.
        path: PathBuf,
        /// What is missing.
        why: String,
    },
    /// Compiling it takes more than any driver may, or the compiling process broke. Look at where the file came from.
    #[error("{}: was not compiled: {why}; if it should be a driver, build it again and compare", path.display())]
    NotCompiled {
        /// The file.
        path: PathBuf,
        /// What stopped it.
        why: String,
    },
    /// Built against a later contract: update the service, or take an earlier build of the driver.
    #[error("{}: is built for contract {driver}, this service knows contracts up to {host_most}", path.display())]
    TooNew {
        /// The file.
        path: PathBuf,
        /// The contract that the driver was built against.
        driver: String,
        /// The latest one that this service knows.
        host_most: String,
    },
    /// Built against a contract that is not supported any more: build the driver again.
    #[error("{}: is built for contract {driver}, this service needs at least {host_least}", path.display())]
    TooOld {
        /// The file.
        path: PathBuf,
        /// The contract that the driver was built against.
        driver: String,
        /// The earliest one that this service knows.
        host_least: String,
    },
    /// It needs something of ours that does not exist.
    #[error("{}: needs {name}, which this service does not have", path.display())]
    MissingImport {
        /// The file.
        path: PathBuf,
        /// The interface or function.
        name: String,
    },
    /// It needs something that no driver gets: files, sockets, a clock, randomness.
    #[error("{}: needs {name}; a driver gets lines, the shop's clock and the log, and nothing else", path.display())]
    ForbiddenImport {
        /// The file.
        path: PathBuf,
        /// The interface.
        name: String,
    },
}

/// Something that keeps the host from starting, or a driver from being of use. All problems are told at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What it is about, as the configuration names it: `driver.io`, `driver.io.settings.map.door.address`, `line.bench`.
    pub key: String,
    /// What is wrong, and what would mend it.
    pub message: String,
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.key, self.message)
    }
}

/// Why no sandbox can be made at all on this computer.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// The Wasm engine refuses these settings here.
    #[error("the WebAssembly engine does not start: {0}")]
    Engine(String),
    /// The cache folder cannot be made or is not the service's own.
    #[error(
        "{}: cannot be used as the folder for compiled drivers: {why}; name a folder of this user's own as host.cache",
        path.display()
    )]
    Cache {
        /// The folder.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
}
