//! Whether the files that are written are still those that their names lead to.

use std::ffi::OsString;
use std::fs::Metadata;
use std::path::{Path, PathBuf};

/// The journal's files as they were when it was opened. A file that was deleted goes on being written as if nothing had happened,
/// and is lost when the service ends.
#[derive(Debug)]
pub(crate) struct Place(Vec<(PathBuf, Option<Identity>)>);

/// Names a file, whatever its own name is.
type Identity = (u64, u64);

impl Place {
    /// The files of an open journal: the file itself, and the log beside it.
    pub(crate) fn of(path: &Path) -> Self {
        let log = OsString::from_iter([path.as_os_str(), "-wal".as_ref()]);
        let known = |path: PathBuf| {
            let is = path.metadata().ok().as_ref().and_then(identity);
            (path, is)
        };
        Self([path.to_path_buf(), PathBuf::from(log)].map(known).into())
    }

    /// Says in words what is no longer there.
    pub(crate) fn moved(&self) -> Option<String> {
        let gone = |(path, was): &&(PathBuf, Option<Identity>)| match path.metadata() {
            Ok(metadata) => identity(&metadata) != *was,
            Err(_) => true,
        };
        self.0.iter().find(gone).map(|(path, _)| {
            format!(
                "{} was deleted, moved or replaced while the service ran: move that same file back (a copy of it is another file), or \
                 end the service and start it again, which begins a new record if none is there",
                path.display()
            )
        })
    }
}

#[cfg(unix)]
fn identity(metadata: &Metadata) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt as _;
    Some((metadata.dev(), metadata.ino()))
}

/// Where files have no number that lasts, only a missing one is seen.
#[cfg(not(unix))]
fn identity(_: &Metadata) -> Option<Identity> {
    None
}
