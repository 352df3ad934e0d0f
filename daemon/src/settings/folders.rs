//! Where the service keeps what it writes, unless the configuration says: never beside the configuration, which may be read-only.

use std::env::var_os;
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
    fn a_shops_name_makes_a_folder() {
        assert_eq!(folder_name("Alder Yard Edge Tools"), "alder-yard-edge-tools");
        assert_eq!(folder_name("../../etc"), "etc", "never out of the folder");
        assert_eq!(folder_name(" / "), "shop");
    }
}
