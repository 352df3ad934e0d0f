//! What is wrong with a configuration, said so that it can be mended.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use config::Value;
use serde::Serialize;

use super::section;

/// One thing that is wrong, with its place and its mend.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// The file, or another source such as the environment; empty when no source is to blame.
    pub source: String,
    /// The line in that file, if it could be found.
    pub line: Option<usize>,
    /// The key, with dots between tables.
    pub key: String,
    /// What is wrong and what would mend it, in a sentence or two.
    pub message: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.source.is_empty(), self.line) {
            (true, _) => {}
            (false, Some(line)) => write!(f, "{}:{line}: ", self.source)?,
            (false, None) => write!(f, "{}: ", self.source)?,
        }
        if self.key.is_empty() { write!(f, "{}", self.message) } else { write!(f, "{}: {}", self.key, self.message) }
    }
}

/// All problems found, gathered so that a person sees them at once.
#[derive(Debug, Default)]
pub struct Problems {
    all: RefCell<Vec<Problem>>,
    /// The files that were read, as people named them.
    files: RefCell<Vec<PathBuf>>,
    /// What the layers came to: each value knows which of them wrote it.
    merged: RefCell<BTreeMap<String, Value>>,
    /// A layer, or a whole table of named things, could not be read.
    partial: Cell<bool>,
}

impl Problems {
    /// Notes a problem.
    pub fn note(&self, source: impl Into<String>, key: impl Into<String>, message: impl Into<String>) {
        let problem = Problem { source: source.into(), line: None, key: key.into(), message: message.into() };
        let mut all = self.all.borrow_mut();
        if !all.contains(&problem) {
            all.push(problem);
        }
    }

    /// Says that a file is read, so that problems in it are shown under the name that people gave it.
    pub(super) fn reads(&self, file: &Path) {
        self.files.borrow_mut().push(file.to_owned());
    }

    /// Says what the layers came to, so that a problem with a key is shown where that key was written last.
    pub(super) fn merges(&self, values: &BTreeMap<String, Value>) {
        self.merged.replace(values.clone());
    }

    /// Whether a problem with this key was noted.
    pub(crate) fn tells_of(&self, key: &str) -> bool {
        self.all.borrow().iter().any(|problem| problem.key == key)
    }

    /// Whether a problem was noted with something in this table.
    pub(crate) fn tells_within(&self, table: &str) -> bool {
        self.all.borrow().iter().any(|problem| problem.key.split('.').next() == Some(table))
    }

    /// Says that a layer, or a whole table of named things, could not be read: from then on nothing is known to be missing.
    pub(super) fn read_in_part(&self) {
        self.partial.set(true);
    }

    /// Whether a layer, or a whole table of named things, could not be read.
    pub(super) fn is_partial(&self) -> bool {
        self.partial.get()
    }

    /// Whether anything was found.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.all.borrow().is_empty()
    }

    /// All of them, each with its line where the file shows it.
    #[must_use]
    pub fn into_list(self) -> Vec<Problem> {
        let mut all = self.all.into_inner();
        let files = self.files.into_inner();
        let merged = self.merged.into_inner();
        for problem in &mut all {
            // A table has the place of what a file says in it; one key of it may come from another layer.
            if let Some(place) = section::written(&merged, &problem.key) {
                problem.source = place.to_owned();
            }
            // The reader of layers tells paths from the folder that the command runs in, which nobody typed.
            let same = |file: &&PathBuf| {
                file.canonicalize().is_ok_and(|real| Path::new(&problem.source).canonicalize().is_ok_and(|told| told == real))
            };
            if let Some(file) = files.iter().find(same) {
                problem.source = file.display().to_string();
            }
            problem.line = super::place::line_of(&problem.source, &problem.key);
        }
        // As somebody goes through the files; what has no line comes before what has one.
        let place = |problem: &Problem| files.iter().position(|file| *file == Path::new(&problem.source)).unwrap_or(files.len());
        all.sort_by_cached_key(|problem| (place(problem), problem.line));
        all
    }
}

#[cfg(test)]
mod tests {
    use config::ValueKind;

    use super::*;

    #[test]
    fn a_problem_is_shown_where_its_key_was_written_last() {
        let value = |place: &str, kind: ValueKind| Value::new(Some(&place.to_owned()), kind);
        let table = |entries: Vec<(&str, Value)>| {
            Value::new(None, ValueKind::Table(entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect()))
        };
        let steps = ValueKind::Array(vec![table(vec![("to", value("HEARTHWARD__X", "600 C".into()))])]);
        let north = table(vec![("meter", value("--set", "io/none".into())), ("limit", value("shop.toml", "1060 C".into()))]);
        let recipe = table(vec![("steps", Value::new(None, steps))]);
        let problems = Problems::default();
        problems.merges(&BTreeMap::from([("furnace".to_owned(), table(vec![("north", north)])), ("recipe".to_owned(), recipe)]));
        for key in ["furnace.north.meter", "furnace.north.limit", "furnace.north", "furnace.north.power", "recipe.steps[0].to"] {
            problems.note("home", key, "is wrong");
        }
        assert!(problems.tells_of("furnace.north") && !problems.tells_of("furnace"));
        assert!(problems.tells_within("furnace") && !problems.tells_within("furn"));
        let places: BTreeMap<String, String> =
            problems.into_list().into_iter().map(|problem| (problem.key, problem.source)).collect();
        let place = |key: &str| places.get(key).map(String::as_str);
        assert_eq!(place("furnace.north.meter"), Some("--set"));
        assert_eq!(place("furnace.north.limit"), Some("shop.toml"));
        assert_eq!((place("furnace.north"), place("furnace.north.power")), (Some("home"), Some("home")));
        assert_eq!(place("recipe.steps[0].to"), Some("HEARTHWARD__X"));
    }
}
