//! What is wrong with a configuration, said so that it can be mended.

use std::cell::RefCell;
use std::fmt;

use serde::Serialize;

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
pub struct Problems(RefCell<Vec<Problem>>);

impl Problems {
    /// Notes a problem.
    pub fn note(&self, source: impl Into<String>, key: impl Into<String>, message: impl Into<String>) {
        let problem = Problem { source: source.into(), line: None, key: key.into(), message: message.into() };
        let mut all = self.0.borrow_mut();
        if !all.contains(&problem) {
            all.push(problem);
        }
    }

    /// Whether anything was found.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.borrow().is_empty()
    }

    /// All of them, each with its line where the file shows it.
    #[must_use]
    pub fn into_list(self) -> Vec<Problem> {
        let mut all = self.0.into_inner();
        for problem in &mut all {
            problem.line = super::place::line_of(&problem.source, &problem.key);
        }
        all
    }
}
