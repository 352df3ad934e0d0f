//! What a shop has decided about a furnace's interlocks beside the table.

use hearthward_supervise::interlock::{InterlockKind, entry, may_be_bypassed};

use super::section::Section;

/// A furnace's interlocks as its owner wants them.
#[derive(Clone, Debug, Default)]
pub struct PolicySettings {
    /// Those that a person may bypass for a time.
    pub may_bypass: Vec<InterlockKind>,
}

/// Reads the keys of a furnace that are about its interlocks.
pub(super) fn policy(section: &Section<'_>) -> PolicySettings {
    let mut may_bypass = Vec::new();
    for word in section.texts("may_bypass") {
        match openable(&word) {
            Ok(kind) if may_bypass.contains(&kind) => section.problem("may_bypass", format!("lists {word} twice")),
            Ok(kind) => may_bypass.push(kind),
            Err(words) => section.problem("may_bypass", words),
        }
    }
    PolicySettings { may_bypass }
}

/// The interlock of a word, if it may ever be bypassed.
fn openable(word: &str) -> Result<InterlockKind, String> {
    let open = || InterlockKind::ALL.into_iter().filter(|&kind| may_be_bypassed(kind).is_ok());
    let Some(kind) = InterlockKind::ALL.into_iter().find(|&kind| self::word(kind) == word) else {
        let words: Vec<String> = open().map(self::word).collect();
        return Err(format!("{word:?} is no interlock; a bypass may be opened for {}", words.join(", ")));
    };
    may_be_bypassed(kind).map(|()| kind).map_err(|why| format!("must not list {word}, which is never bypassed: {why}"))
}

/// An interlock's name as people type it.
fn word(kind: InterlockKind) -> String {
    entry(kind).id.replace('_', "-")
}
