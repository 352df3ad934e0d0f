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
        Self::start_in(tempfile::tempdir().expect("a folder of its own"), configuration, &[])
    }

    /// The same without any compiled driver.
    pub(crate) fn start_cold(configuration: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder of its own");
        let cache = format!("host.cache={}", folder.path().join("cache").display());
        Self::start_in(folder, configuration, &["--set", &cache])
    }

    fn start_in(folder: TempDir, configuration: &str, arguments: &[&str]) -> Self {
        std::fs::write(folder.path().join("shop.toml"), configuration).expect("it can be written");
        let daemon = Daemon::start_with(folder.path(), arguments);
        Self { daemon, _folder: folder }
    }
}
