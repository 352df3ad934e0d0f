//! Benchmarks: what the service costs beside the least that the same work could cost, each with its target.
//!
//! `cargo bench -p hearthward-tests` prints a table for people; `-- --json` one object a line with `name`, `value`, `unit`,
//! `baseline`, `ratio`, `target` and `holds`. Baselines are measured in the same run, alternating with what they are compared to,
//! because a busy computer drifts. `-- NAME...` runs only parts: see [`PARTS`]. `-- --brief` runs everything for a moment only, and judges
//! nothing: so the usual tests see that the benchmarks still run.

mod device;
mod door;
mod durable;
mod floor;
mod idle;
mod numbers;
mod plan;
mod start;
mod stream;
mod tap;
mod tick;
mod wasm_read;

use numbers::Report;

/// A part: its name and what it measures.
type Part = (&'static str, fn(&mut Report));

const PARTS: [Part; 8] = [
    ("read", wasm_read::measure),
    ("door", door::measure),
    ("tick", tick::measure),
    ("plan", plan::measure),
    ("idle", idle::measure),
    ("start", start::measure),
    ("durable", durable::measure),
    ("stream", stream::measure),
];

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    if let Some((word, numbers)) = arguments.split_first()
        && word == wasm_read::NATIVE
    {
        return wasm_read::native_client(numbers);
    }
    let has = |word: &str| arguments.iter().any(|argument| argument == word);
    if let Some(unknown) =
        arguments.iter().find(|argument| argument.starts_with("--") && !["--json", "--brief"].contains(&argument.as_str()))
    {
        eprintln!("there is no option {unknown}; there is --json, --brief");
        std::process::exit(2);
    }
    let wanted: Vec<&String> = arguments.iter().filter(|argument| !argument.starts_with("--")).collect();
    if let Some(unknown) = wanted.iter().find(|name| PARTS.iter().all(|(known, _)| known != *name)) {
        let known: Vec<&str> = PARTS.iter().map(|(name, _)| *name).collect();
        eprintln!("there is no part {unknown}; there is {}", known.join(", "));
        std::process::exit(2);
    }
    let mut report = Report::new(has("--json"), has("--brief"));
    for (name, measure) in PARTS {
        if wanted.is_empty() || wanted.iter().any(|wanted| *wanted == name) {
            measure(&mut report);
        }
    }
    report.end();
}
