//! Compiled drivers on disk. Never trusted: an entry counts only if its own hash is right, its name is that of the content and of
//! this engine, and the folder belongs to nobody else.
//!
//! An entry is the SHA-256 of its name and the code, then the code. The name is the SHA-256 of the component and of everything about the engine
//! that code depends on (version, settings, processor), so an upgrade never meets old code (T14).

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// Bytes of a hash.
const HASH: usize = 32;

/// The folder.
#[derive(Clone, Debug)]
pub(crate) struct Cache {
    folder: PathBuf,
}

impl Cache {
    /// Takes the folder, which is made for this user alone if it is not there.
    pub(crate) fn open(folder: &Path) -> io::Result<Self> {
        fs::create_dir_all(folder)?;
        close_to_others(folder)?;
        Ok(Self { folder: folder.to_owned() })
    }

    /// The code under this name, if there is an entry and it is whole.
    pub(crate) fn find(&self, name: &str) -> Option<Vec<u8>> {
        let entry = fs::read(self.path(name)).ok()?;
        let (hash, code) = entry.split_at_checked(HASH)?;
        if seal(name, code) != hash {
            tracing::warn!(entry = name, "a compiled driver in the cache is damaged; it is compiled again");
            return None;
        }
        Some(code.to_vec())
    }

    /// Keeps the code; what goes wrong costs time at the next start and nothing else, so it is only logged.
    pub(crate) fn keep(&self, name: &str, code: &[u8]) {
        if let Err(why) = self.write(name, code) {
            tracing::warn!(folder = %self.folder.display(), %why, "a compiled driver could not be kept");
        }
    }

    /// Written beside and renamed, so that a killed service leaves no half entry under a good name.
    fn write(&self, name: &str, code: &[u8]) -> io::Result<()> {
        let beside = self.folder.join(format!("{name}.{}.new", std::process::id()));
        let mut file = fs::File::create(&beside)?;
        file.write_all(&seal(name, code))?;
        file.write_all(code)?;
        file.sync_data()?;
        drop(file);
        fs::rename(&beside, self.path(name))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.join(format!("{name}.compiled"))
    }
}

/// The name belongs to it, so that one driver's code is never taken for another's.
fn seal(name: &str, code: &[u8]) -> [u8; HASH] {
    Sha256::new().chain_update(name).chain_update(code).finalize().into()
}

/// Whoever can write here can run code as this service.
#[cfg(unix)]
fn close_to_others(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o700))
}

/// Elsewhere a folder in the user's own profile is closed to others already.
#[cfg(not(unix))]
fn close_to_others(_folder: &Path) -> io::Result<()> {
    Ok(())
}

/// Bytes in hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: what was kept is found; a flipped bit, a cut-off or empty entry is not.
    #[test]
    fn damaged_entries_are_not_found() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = Cache::open(folder.path()).expect("a cache");
        cache.keep("one", b"code");
        assert_eq!(cache.find("one").as_deref(), Some(b"code".as_slice()));
        assert_eq!(cache.find("other"), None);
        let path = cache.path("one");
        let whole = fs::read(&path).expect("the entry");
        let mut flipped = whole.clone();
        flipped[HASH + 1] ^= 1;
        fs::copy(&path, cache.path("other")).expect("copying");
        assert_eq!(cache.find("other"), None, "another's entry was taken");
        for damaged in [&flipped[..], &whole[..whole.len() - 1], &whole[..5], &[]] {
            fs::write(&path, damaged).expect("writing");
            assert_eq!(cache.find("one"), None);
        }
    }

    /// Goal: the folder is closed to everybody else.
    #[cfg(unix)]
    #[test]
    fn the_folder_is_private() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let inside = folder.path().join("compiled");
        Cache::open(&inside).expect("a cache");
        assert_eq!(fs::metadata(&inside).expect("the folder").permissions().mode() & 0o777, 0o700);
    }
}
