//! House rules as tests: what may know what, what must not be left lying about, what is frozen. Each says what to do about it.

mod contracts;
mod edges;
mod files;
mod interlocks;

use std::path::{Path, PathBuf};

use hearthward_tests::place;

/// Folders that hold nothing of ours.
const FOREIGN: [&str; 3] = ["target", ".git", "node_modules"];

/// Every file of the house, with its path from the root.
fn files() -> Vec<(String, PathBuf)> {
    fn walk(folder: &Path, into: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("a folder of the house can be read").filter_map(Result::ok) {
            let path = entry.path();
            let foreign = path.file_name().is_some_and(|name| FOREIGN.iter().any(|foreign| name == *foreign));
            match (path.is_dir(), foreign) {
                (_, true) => {}
                (true, false) => walk(&path, into),
                (false, false) => into.push(path),
            }
        }
    }
    let root = place::root();
    let mut paths = Vec::new();
    walk(&root, &mut paths);
    paths.sort();
    let named = paths.into_iter().filter_map(|path| Some((path.strip_prefix(&root).ok()?.to_str()?.to_owned(), path)));
    named.collect()
}

/// The text of every file of the house with one of these endings.
fn texts(endings: &[&str]) -> Vec<(String, String)> {
    let wanted = |name: &str| endings.iter().any(|ending| name.ends_with(ending));
    files()
        .into_iter()
        .filter(|(name, _)| wanted(name))
        .filter_map(|(name, path)| Some((name, std::fs::read_to_string(path).ok()?)))
        .collect()
}
