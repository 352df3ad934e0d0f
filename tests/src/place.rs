//! Where things are: the repository, what was built, the Python of the independent peers.

use std::path::{Path, PathBuf};

/// The repository's root.
#[must_use]
pub fn root() -> PathBuf {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    manifest.parent().expect("tests/ lies in the repository").to_owned()
}

/// The daemon's binary, beside the folder that this test runs from.
///
/// # Panics
/// If it is not built: `cargo` does not build another package's binary for a test, so `tests/run` does.
#[must_use]
pub fn daemon() -> PathBuf {
    let own = std::env::current_exe().expect("a test knows its own file");
    let profile = own.parent().and_then(Path::parent).expect("a test lies in target/PROFILE/deps");
    let binary = profile.join("hearthward");
    assert!(
        binary.is_file(),
        "{} is missing: build it first with `cargo build --release --package hearthward`, or run `tests/run e2e`",
        binary.display()
    );
    binary
}

/// The folder of compiled drivers.
///
/// # Panics
/// If they are not built.
#[must_use]
pub fn guests() -> PathBuf {
    let folder = root().join("target/guests");
    for guest in ["modbus-registers", "hand-kept", "simulated-bench", "hostile"] {
        let file = folder.join(guest).with_extension("wasm");
        assert!(file.is_file(), "{} is missing: run `tests/run guests`", file.display());
    }
    folder
}

/// Where the tests' daemons keep compiled drivers, so that each is compiled once.
#[must_use]
pub fn cache() -> PathBuf {
    let folder = root().join("target/e2e-cache");
    std::fs::create_dir_all(&folder).expect("target/ can be written");
    folder
}

/// The Python that has the peers' packages.
///
/// # Panics
/// If the virtual environment was not made.
#[must_use]
pub fn python() -> PathBuf {
    let python = root().join("target/peers/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run `tests/run e2e`, which makes it from tests/peers/requirements.txt",
        python.display()
    );
    python
}
