//! Each interlock is named in a test and in the contract; each diagram of states names its states.

use hearthward_tests::place;

use crate::texts;

/// The kinds of interlock, as the core's enumeration has them.
fn kinds() -> Vec<String> {
    let text =
        std::fs::read_to_string(place::root().join("daemon/supervise/src/interlock/mod.rs")).expect("the core's interlocks");
    let kinds = variants(&text, "InterlockKind");
    assert!(kinds.len() > 10, "the enumeration was not understood: {kinds:?}");
    kinds
}

/// The names of the variants of an enumeration in a Rust text.
fn variants(text: &str, name: &str) -> Vec<String> {
    let Some(start) = text.find(&format!("pub enum {name} {{")) else { return Vec::new() };
    let body = &text[start..];
    let body = &body[..body.find("\n}").unwrap_or(body.len())];
    let named = |line: &str| {
        line.strip_prefix("    ").filter(|rest| rest.starts_with(|first: char| first.is_ascii_uppercase())).map(str::to_owned)
    };
    body.lines().filter_map(named).map(|line| line.chars().take_while(char::is_ascii_alphanumeric).collect()).collect()
}

fn snake(name: &str) -> String {
    let mut out = String::new();
    for letter in name.chars() {
        if letter.is_ascii_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.push(letter.to_ascii_lowercase());
    }
    out
}

/// The parts of the house's Rust that are tests.
fn tests() -> Vec<String> {
    let all = texts(&[".rs"]).into_iter().filter(|(name, _)| !name.starts_with("tests/tidy/"));
    let parts = all.filter_map(|(name, text)| {
        let whole = name.contains("/tests/") || name.starts_with("tests/") || name.ends_with("/tests.rs");
        if whole { Some(text) } else { text.find("#[cfg(test)]").map(|at| text[at..].to_owned()) }
    });
    parts.collect()
}

#[test]
fn each_is_named_in_a_test() {
    let tests = tests();
    let unnamed: Vec<String> = kinds()
        .into_iter()
        .filter(|kind| {
            let names = [
                format!("InterlockKind::{kind}"),
                format!("Kind::{kind}"),
                format!("INTERLOCK_KIND_{}", snake(kind).to_uppercase()),
            ];
            let by_path = |test: &String| names.iter().any(|name| holds(test, name));
            // Where the kinds are imported by name, the import does not count: it must be used as well.
            let by_name = |test: &String| test.contains("InterlockKind::{") && count(test, kind) > 1;
            !tests.iter().any(|test| by_path(test) || by_name(test))
        })
        .collect();
    assert!(unnamed.is_empty(), "interlocks that no test names: {unnamed:?}");
}

/// Whether a text holds a name as a whole word.
fn holds(text: &str, name: &str) -> bool {
    count(text, name) > 0
}

/// How often a text holds a name that no longer one begins with.
fn count(text: &str, name: &str) -> usize {
    let whole = |at: usize| !text[at + name.len()..].starts_with(|next: char| next.is_ascii_alphanumeric() || next == '_');
    text.match_indices(name).filter(|(at, _)| whole(*at)).count()
}

#[test]
fn each_is_in_the_contract() {
    let contract = std::fs::read_to_string(place::root().join("proto/hearthward/v1/interlocks.proto")).expect("the contract");
    for kind in kinds() {
        let name = format!("INTERLOCK_KIND_{}", snake(&kind).to_uppercase());
        assert!(holds(&contract, &name), "{name} is not in interlocks.proto");
    }
}

/// Goal: a diagram beside an enumeration of states does not go stale. Method: every variant of an enumeration whose comment holds
/// a drawing is named in it.
#[test]
fn each_diagram_names_its_states() {
    let mut looked = 0;
    for (name, text) in texts(&[".rs"]).into_iter().filter(|(name, _)| name.starts_with("daemon/supervise/")) {
        for (at, _) in text.match_indices("pub enum ") {
            let comment: Vec<&str> =
                text[..at].lines().rev().take_while(|line| line.starts_with("///") || line.starts_with("#[")).collect();
            if !comment.iter().any(|line| line.contains("```text")) {
                continue;
            }
            looked += 1;
            let enumeration: String = text[at + "pub enum ".len()..].chars().take_while(char::is_ascii_alphanumeric).collect();
            for variant in variants(&text, &enumeration) {
                assert!(
                    comment.iter().any(|line| line.contains(&variant)),
                    "{name}: the diagram of {enumeration} does not name {variant}"
                );
            }
        }
    }
    assert!(looked > 0, "no diagram was found at all");
}
