//! What must not be left lying about, and how long a file may grow.

use crate::texts;

/// Lines that a file may have.
const LINES_MOST: usize = 800;

/// Files that may be longer, each with its reason.
const LONGER: [(&str, &str); 0] = [];

/// Rust files that need no head saying what they are for, each with its reason.
const HEADLESS: [(&str, &str); 0] = [];

const WRITTEN_BY_HAND: [&str; 9] = [".rs", ".py", ".proto", ".wit", ".toml", ".toml.in", ".md", ".sh", "/run"];

/// Put together here, so that this list does not find itself.
fn leftovers() -> Vec<String> {
    let parts = [
        ("FIX", "ME"),
        ("XX", "X:"),
        ("todo", "!("),
        ("unimplemented", "!("),
        ("dbg", "!("),
        ("/wo", "rk/"),
        ("/tmp/", "bash"),
        ("<<<<", "<<< "),
    ];
    parts.iter().map(|(front, back)| format!("{front}{back}")).collect()
}

#[test]
fn nothing_is_left_over() {
    let mut found = Vec::new();
    for (name, text) in texts(&WRITTEN_BY_HAND) {
        for (number, line) in text.lines().enumerate() {
            for leftover in leftovers().iter().filter(|leftover| line.contains(leftover.as_str())) {
                found.push(format!("{name}:{}: {leftover}", number + 1));
            }
        }
    }
    assert!(found.is_empty(), "leftovers, and paths of one machine:\n{}", found.join("\n"));
}

#[test]
fn no_file_is_too_long() {
    let mut long = Vec::new();
    for (name, text) in texts(&[".rs", ".py", ".proto", ".wit"]) {
        let lines = text.lines().count();
        let excused = LONGER.iter().any(|(known, _)| *known == name);
        if lines > LINES_MOST && !excused {
            long.push(format!("{name} has {lines} lines"));
        }
        assert!(
            lines > LINES_MOST || !excused,
            "{name} is listed as longer than {LINES_MOST} lines and is not: take it off the list"
        );
    }
    assert!(long.is_empty(), "more than {LINES_MOST} lines: split it, or list it with a reason:\n{}", long.join("\n"));
}

#[test]
fn every_rust_file_says_what_it_is_for() {
    let headless: Vec<String> = texts(&[".rs"])
        .into_iter()
        .filter(|(name, text)| !text.starts_with("//!") && !HEADLESS.iter().any(|(known, _)| known == name))
        .map(|(name, _)| name)
        .collect();
    assert!(headless.is_empty(), "no `//!` at the top:\n{}", headless.join("\n"));
}
