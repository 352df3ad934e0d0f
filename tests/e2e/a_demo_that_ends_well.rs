//! Goal: the demo ends with its summary and status 0, and leaves a record without gaps. Method: run it as the quick start does, then
//! read its journal back.

use std::time::Duration;

use hearthward_tests::client::assert_without_gaps;
use hearthward_tests::daemon::{command, run_within};
use hearthward_tests::place;
use serde_json::Value;

const LONGEST: Duration = Duration::from_secs(180);

#[test]
fn with_a_summary_and_a_record() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut demo = command();
    demo.arg("demo").arg("--drivers").arg(place::guests()).arg("--folder").arg(folder.path());
    let output = run_within(&mut demo, LONGEST);
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "it ended with {}:\n{said}\n{}", output.status, String::from_utf8_lossy(&output.stderr));
    for word in ["purge", "door", "quench", "temper"] {
        assert!(said.to_lowercase().contains(word), "the demo does not speak of {word}:\n{said}");
    }

    let journal = journal_in(folder.path());
    let mut watch = command();
    watch.args(["watch", "--json", "--from", "1", "--journal"]).arg(&journal);
    let output = run_within(&mut watch, LONGEST);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let events: Vec<Value> = String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("not JSON: {line}")))
        .collect();
    // The contract's own JSON writes whole numbers of 64 bits as text.
    let numbers: Vec<u64> = events.iter().filter_map(|event| event["seq"].as_str()?.parse().ok()).collect();
    assert_eq!(numbers.len(), events.len());
    assert_without_gaps(&numbers, 1);
    let outcomes: Vec<&str> = events.iter().filter_map(|event| event["cycleEnded"]["outcome"].as_str()).collect();
    assert_eq!(
        outcomes,
        ["aborted", "complete"],
        "the load that may not heat is ended by a person, the other one runs to its end"
    );
    assert_replays(&journal);
    let because =
        |event: &Value, kind: &str| event["cut"]["because"].as_array().is_some_and(|all| all.iter().any(|one| one == kind));
    let opened =
        events.iter().any(|event| because(event, "INTERLOCK_KIND_DOOR_OPEN") || because(event, "INTERLOCK_KIND_OPENING_AT_HEAT"));
    assert!(opened, "no door was opened in the demo");
}

/// Goal: the day's decisions come out again, digest by digest, from what the journal holds; under another limit they do not, and that is
/// said. Method: `replay` on the demo's own journal, as it is and with the limit of its furnace below its soak.
fn assert_replays(journal: &std::path::Path) {
    let mut replay = command();
    replay.args(["replay", "--json", "--journal"]).arg(journal);
    let output = run_within(&mut replay, LONGEST);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    let tally = &last_object(&said)["replayed"];
    assert!(tally["ticks"].as_u64() > Some(5_000), "{tally}");
    assert_eq!((&tally["digests_differ"], &tally["events_differ"], &tally["gaps"]), (&0.into(), &0.into(), &0.into()));

    let other = journal.with_file_name("other.toml");
    let example = std::fs::read_to_string(place::root().join("deploy/example/shop.toml")).expect("the example");
    assert!(example.contains("limit = \"1060 C\""), "the example's north furnace has another limit now");
    // The recipe that only this furnace could reach would be refused under the lower limit.
    let lowered = example.replace("limit = \"1060 C\"", "limit = \"700 C\"").replace("\"960 C\"", "\"690 C\"");
    std::fs::write(&other, lowered).expect("written");
    let mut replay = command();
    replay.args(["replay", "--json", "--furnace", "north", "--journal"]).arg(journal);
    replay.arg("--plan").arg(&other).arg("--drivers").arg(place::guests());
    let output = run_within(&mut replay, LONGEST);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    let first: Value = serde_json::from_str(said.lines().next().expect("a difference")).expect("JSON");
    assert!(first["difference"]["events_now"] != first["difference"]["events_on_record"], "{first}");
}

fn last_object(said: &str) -> Value {
    serde_json::from_str(said.lines().last().expect("it said something")).expect("JSON")
}

/// Goal: the demo replaces nothing that an earlier demo did not leave. Method: a file of somebody else's lies where its journal would: one
/// of any kind is refused as a configuration is, a database by the demo itself.
#[test]
fn without_touching_a_file_of_others() {
    let folder = tempfile::tempdir().expect("a folder");
    let theirs = folder.path().join("journal.sqlite");
    for (content, code, says) in
        [("theirs", 3, "is a file already, and no journal"), ("SQLite format 3\0theirs", 1, "is left alone")]
    {
        std::fs::write(&theirs, content).expect("written");
        let mut demo = command();
        demo.arg("demo").arg("--drivers").arg(place::guests()).arg("--folder").arg(folder.path());
        let output = run_within(&mut demo, LONGEST);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{said}");
        assert!(said.contains(says), "{said}");
        assert_eq!(std::fs::read_to_string(&theirs).expect("still there"), content);
    }
}

/// Goal: nothing real is heated faster than time runs. Method: the example shop with one piece of equipment that a person keeps.
#[test]
fn never_with_real_equipment() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut demo = command();
    demo.arg("demo").arg("--drivers").arg(place::guests()).arg("--folder").arg(folder.path());
    demo.args(["--set", "driver.by-hand.component=hand-kept.wasm"]);
    demo.args(["--set", "driver.by-hand.settings.unit.ball.face=flow-meter"]);
    let output = run_within(&mut demo, LONGEST);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("refused with real equipment"), "{said}");
    assert!(!folder.path().join("journal.sqlite").exists(), "a record was begun");
}

fn journal_in(folder: &std::path::Path) -> std::path::PathBuf {
    let found = std::fs::read_dir(folder).expect("the demo's folder").filter_map(|entry| Some(entry.ok()?.path()));
    let mut journals: Vec<_> = found.filter(|path| path.extension().is_some_and(|extension| extension == "sqlite")).collect();
    assert_eq!(journals.len(), 1, "the demo left {journals:?} in {}", folder.display());
    journals.remove(0)
}
