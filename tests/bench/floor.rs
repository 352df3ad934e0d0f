//! A service for one benchmark, in a folder of its own.

use hearthward_tests::daemon::Daemon;
use tempfile::TempDir;

#[derive(Debug)]
pub(crate) struct Floor {
    pub(crate) daemon: Daemon,
    // Declared after the service, so that it goes last.
    _folder: TempDir,
}

impl Floor {
    /// Starts the service on this configuration.
    pub(crate) fn start(configuration: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder of its own");
        std::fs::write(folder.path().join("shop.toml"), configuration).expect("it can be written");
        let daemon = Daemon::start(folder.path());
        Self { daemon, _folder: folder }
    }
}
