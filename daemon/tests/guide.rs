//! Every example of the guide, run and compared with the page. `HEARTHWARD_BLESS=1` writes the pages anew.

use std::path::{Path, PathBuf};

use crate::{command, text};

/// The pages with examples, from the repository's root.
const PAGES: [&str; 2] = ["README.md", "deploy/planning.md"];

/// Where an example begins.
const PROMPT: &str = "$ hearthward plan ";

fn page(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(name)
}

/// The page with the outputs of its examples as they are now, and how many there are.
fn renewed(page: &str) -> (String, usize) {
    let (mut out, mut count) = (String::new(), 0);
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        out += line;
        out.push('\n');
        if !line.starts_with(PROMPT) {
            continue;
        }
        let mut typed = line.trim_start_matches("$ ").to_owned();
        while let Some(begun) = typed.strip_suffix('\\') {
            let more = lines.next().expect("a command does not end in a backslash");
            out += more;
            out.push('\n');
            typed = format!("{begun} {}", more.trim());
        }
        count += 1;
        out += &run(&typed);
        let end = lines.find(|line| line.starts_with("```")).expect("an example ends");
        out += end;
        out.push('\n');
    }
    (out, count)
}

fn run(typed: &str) -> String {
    let words = words(typed);
    let arguments: Vec<&str> = words.iter().skip(1).map(String::as_str).collect();
    // Files of the examples are named from the repository's root, where a reader of the page stands.
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let output = command().args(arguments).current_dir(root).output().expect("the program starts");
    assert!(output.status.success(), "{typed}: {}", text(&output.stderr));
    text(&output.stdout)
}

/// Words as a shell takes them apart, as far as the examples go: blanks part them, double quotes hold them together.
fn words(typed: &str) -> Vec<String> {
    let parts = typed.split('"').enumerate();
    parts
        .flat_map(|(place, part)| {
            let quoted = place % 2 == 1;
            if quoted { vec![part.to_owned()] } else { part.split_whitespace().map(str::to_owned).collect() }
        })
        .collect()
}

#[test]
fn the_pages_show_what_is_printed() {
    for name in PAGES {
        let kept = std::fs::read_to_string(page(name)).expect("the page is there");
        let (now, count) = renewed(&kept);
        assert!(count > 0, "{name} has no example");
        if std::env::var_os("HEARTHWARD_BLESS").is_some() {
            std::fs::write(page(name), &now).expect("written");
            continue;
        }
        let differs = now.lines().zip(kept.lines()).find(|(now, kept)| now != kept);
        assert!(now == kept, "{name} is stale, first at {differs:?}; HEARTHWARD_BLESS=1 writes it anew");
    }
}
