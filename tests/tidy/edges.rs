//! Arrows point inward: no crate depends on another that the architecture's table does not give it.

use std::process::Command;

use hearthward_tests::place;
use serde_json::Value;

/// What each crate of the house may depend on, in the table's words. `*` may depend on anything.
const TABLE: [(&str, &[&str]); 16] = [
    ("hearthward", &["*"]),
    (
        "hearthward-api",
        &["hearthward-proto", "hearthward-supervise", "hearthward-journal", "hearthward-process", "hearthward-equipment"],
    ),
    ("hearthward-driver", &[]),
    ("hearthward-drivers", &["hearthward-equipment", "hearthward-supervise"]),
    ("hearthward-equipment", &[]),
    ("hearthward-faults", &["hearthward-equipment", "hearthward-process", "hearthward-supervise"]),
    ("hearthward-hand-kept", &["hearthward-driver"]),
    ("hearthward-hostile", &["hearthward-driver"]),
    ("hearthward-journal", &["hearthward-equipment", "hearthward-supervise"]),
    ("hearthward-modbus-registers", &["hearthward-driver"]),
    ("hearthward-process", &[]),
    ("hearthward-proto", &[]),
    ("hearthward-same", &["hearthward-equipment", "hearthward-process", "hearthward-supervise"]),
    ("hearthward-simulated-bench", &["hearthward-driver"]),
    ("hearthward-supervise", &["hearthward-equipment", "hearthward-process"]),
    ("hearthward-tests", &["*"]),
];

/// What the pure crates must not reach for: clocks, sockets, files, threads, chance, runtimes.
const IMPURE: [&str; 12] = [
    "tokio",
    "wasmtime",
    "rusqlite",
    "tonic",
    "tracing",
    "rand",
    "getrandom",
    "mio",
    "hyper",
    "tempfile",
    "chrono",
    "crossbeam-channel",
];
const PURE: [&str; 3] = ["hearthward-equipment", "hearthward-process", "hearthward-supervise"];

fn packages() -> Vec<Value> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline", "--manifest-path"])
        .arg(place::root().join("Cargo.toml"))
        .output()
        .expect("cargo can be asked");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo answers in JSON");
    metadata["packages"].as_array().expect("a list of packages").clone()
}

/// Names of what a package depends on: the house's own (true) or others; tests' own dependencies left out.
fn dependencies(package: &Value, own: bool) -> Vec<String> {
    let all = package["dependencies"].as_array().cloned().unwrap_or_default();
    let built = all.iter().filter(|dependency| dependency["kind"] != "dev" && dependency["path"].is_string() == own);
    built.filter_map(|dependency| dependency["name"].as_str().map(str::to_owned)).collect()
}

#[test]
fn no_edge_that_the_table_does_not_have() {
    let mut wrong = Vec::new();
    for package in packages() {
        let name = package["name"].as_str().expect("a name");
        let Some((_, allowed)) = TABLE.iter().find(|(known, _)| *known == name) else {
            wrong.push(format!("{name} is not in the table: what may it depend on?"));
            continue;
        };
        for dependency in dependencies(&package, true) {
            if !allowed.contains(&"*") && !allowed.contains(&dependency.as_str()) {
                wrong.push(format!("{name} depends on {dependency}, which the table does not give it"));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{}\nAn arrow that is not in the table is a decision: say why in the commit that adds it here.",
        wrong.join("\n")
    );
}

#[test]
fn every_crate_of_the_table_is_there() {
    let names: Vec<String> = packages().iter().filter_map(|package| package["name"].as_str().map(str::to_owned)).collect();
    for (name, _) in TABLE {
        assert!(names.iter().any(|known| known == name), "{name} is in the table but not in the workspace");
    }
}

/// Goal: the author of a new driver is told what it takes to be built here, before anything is fetched or built.
#[test]
fn a_driver_that_is_no_member_is_told_how_to_become_one() {
    let output = Command::new(place::root().join("deploy/guests")).arg("hearthward-nobody").output().expect("the script runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("hearthward-nobody is no package") && said.contains("`members` of Cargo.toml"), "{said}");
    assert!(said.contains("tests/tidy/edges.rs") && said.contains("sdk/README.md"), "{said}");
}

#[test]
fn the_core_reaches_for_nothing_outside() {
    let packages = packages();
    for name in PURE {
        let package = packages.iter().find(|package| package["name"] == name).unwrap_or_else(|| panic!("no crate {name}"));
        for dependency in dependencies(package, false) {
            assert!(
                !IMPURE.contains(&dependency.as_str()),
                "{name} depends on {dependency}: time, chance and I/O come in as arguments"
            );
        }
    }
}
