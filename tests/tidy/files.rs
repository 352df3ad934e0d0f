//! What must not be left lying about, and how long a file may grow.

use std::process::Command;

use hearthward_tests::place;

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

/// What stands at the top of the repository beside files whose name begins with a dot.
const TOP: [&str; 12] = [
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "daemon",
    "deploy",
    "plugins",
    "proto",
    "sdk",
    "tests",
];

/// Goal: what a command left at the top does not get into a commit. Method: of what git tracks, everything has its place.
#[test]
fn the_top_of_the_repository_holds_what_belongs_there() {
    // A checkout of another user's, as in a container, is read all the same.
    let output = Command::new("git")
        .args(["-c", "safe.directory=*", "ls-files", "-z"])
        .current_dir(place::root())
        .output()
        .expect("git can be asked what it tracks");
    assert!(output.status.success(), "git cannot say what it tracks: {}", String::from_utf8_lossy(&output.stderr));
    let tracked = String::from_utf8(output.stdout).expect("names are text");
    let mut found: Vec<&str> = tracked.split_terminator('\0').filter_map(|name| name.split('/').next()).collect();
    found.retain(|name| !name.starts_with('.'));
    found.sort_unstable();
    found.dedup();
    assert_eq!(found, TOP, "the top holds something else: take it out of git, or give it its place in a folder");
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
