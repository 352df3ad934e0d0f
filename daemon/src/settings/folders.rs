//! Where the service keeps what it writes, unless the configuration says: never beside the configuration, which may be read-only.

use std::env::var_os;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// The journal's file of the shop of that name.
///
/// In `$STATE_DIRECTORY` (set by systemd for a unit with `StateDirectory=`), else in `hearthward` under `$XDG_STATE_HOME` or
/// `~/.local/state` (XDG Base Directory Specification 0.8), else beside the configuration. Each shop has a folder of its own, since
/// what stood in one shop must not be taken for another's.
pub(super) fn journal(shop: &str, base: &Path) -> PathBuf {
    folder("STATE_DIRECTORY", "XDG_STATE_HOME", ".local/state", base).join(folder_name(shop)).join("journal.sqlite")
}

/// The folder of compiled drivers: in `$CACHE_DIRECTORY`, else in `hearthward` under `$XDG_CACHE_HOME` or `~/.cache`, else beside the
/// configuration. All shops share it: an entry is named by what it was made of.
pub(super) fn cache(base: &Path) -> PathBuf {
    folder("CACHE_DIRECTORY", "XDG_CACHE_HOME", ".cache", base).join("drivers")
}

/// The path of a journal, if one is or can be kept there. Nothing is made.
pub(super) fn a_journal(text: &str, base: &Path) -> Result<PathBuf, String> {
    let path = a_path(text, "journal.sqlite", base)?;
    if path.is_dir() {
        return Err(format!("is a folder; name a file in it, such as {:?}", Path::new(text).join("journal.sqlite")));
    }
    let head = File::open(&path).and_then(|file| {
        let mut head = Vec::new();
        file.take(HEAD.len() as u64).read_to_end(&mut head).map(|_| head)
    });
    // One that cannot be opened is told by the journal itself, which knows what it needs; an empty file becomes one.
    if path.is_file() && head.is_ok_and(|head| !head.is_empty() && head != HEAD) {
        return Err("is a file already, and no journal: name one of its own".to_owned());
    }
    Ok(path)
}

/// How each file of the database that the journal is kept in begins ("Database File Format" of SQLite, 1.3, from memory).
const HEAD: &[u8] = b"SQLite format 3\0";

/// The path of a folder that is there or can be made.
pub(super) fn a_folder(text: &str, base: &Path) -> Result<PathBuf, String> {
    let path = a_path(text, "drivers", base)?;
    if path.exists() && !path.is_dir() { Err("is a file, and a folder is needed".to_owned()) } else { Ok(path) }
}

/// A path whose folders are there or can be made.
fn a_path(text: &str, like: &str, base: &Path) -> Result<PathBuf, String> {
    if text.trim().is_empty() {
        return Err(format!("is empty; write a path, such as {like:?}, or leave it out"));
    }
    let path = base.join(text);
    match path.ancestors().skip(1).find(|folder| folder.exists()) {
        Some(file) if !file.is_dir() => Err(format!("lies in {}, which is a file and no folder", file.display())),
        _ => Ok(path),
    }
}

fn folder(service: &str, person: &str, in_home: &str, base: &Path) -> PathBuf {
    // The specification has it that a path that is not absolute is ignored.
    let set = |name: &str| var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let own = || set(person).or_else(|| set("HOME").map(|home| home.join(in_home))).map(|folder| folder.join("hearthward"));
    set(service).or_else(own).unwrap_or_else(|| base.to_owned())
}

fn folder_name(shop: &str) -> String {
    let words = shop.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty());
    let name = words.collect::<Vec<_>>().join("-").to_lowercase();
    if name.is_empty() { "shop".to_owned() } else { name }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_be_no_journal_and_no_folder_is_told_before_anything_is_made() {
        let base = &std::env::temp_dir().join(format!("hearthward-folders-{}", std::process::id()));
        std::fs::create_dir(base).expect("a folder of its own");
        std::fs::write(base.join("shop.toml"), "[shop]\n").expect("it can be written");
        std::fs::write(base.join("old.sqlite"), HEAD).expect("it can be written");
        std::fs::write(base.join("new.sqlite"), "").expect("it can be written");
        for (text, says) in [
            ("", "is empty"),
            (".", "is a folder; name a file in it"),
            ("shop.toml", "is a file already, and no journal"),
            ("shop.toml/journal.sqlite", "lies in "),
        ] {
            let told = a_journal(text, base).expect_err("it can be none");
            assert!(told.starts_with(says), "{text}: {told}");
        }
        for good in ["old.sqlite", "new.sqlite", "none.sqlite", "none/yet/journal.sqlite"] {
            assert_eq!(a_journal(good, base), Ok(base.join(good)));
        }
        assert!(a_folder("shop.toml", base).is_err() && a_folder(" ", base).is_err());
        assert_eq!((a_folder("cache", base), a_folder(".", base)), (Ok(base.join("cache")), Ok(base.join("."))));
        assert_eq!(std::fs::read_dir(base).expect("it is there").count(), 3, "nothing was made");
        std::fs::remove_dir_all(base).expect("it can be removed");
    }

    #[test]
    fn a_shops_name_makes_a_folder() {
        assert_eq!(folder_name("Alder Yard Edge Tools"), "alder-yard-edge-tools");
        assert_eq!(folder_name("../../etc"), "etc", "never out of the folder");
        assert_eq!(folder_name(" / "), "shop");
    }
}
