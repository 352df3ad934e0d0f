//! Goal: a service that dies with a hot load and comes back after longer than its ride-through cuts first, heats only when a
//! person says so, and has lost and invented nothing. Method: SIGKILL, then a new start on the same journal.

use std::time::Duration;

use hearthward_tests::client::{assert_without_gaps, numbers};
use hearthward_tests::daemon::{command, run_within};
use hearthward_tests::equipment::{Logged, unit};
use hearthward_tests::{person, shop};
use serde_json::{Value, json};

use crate::floor::{Floor, Told, heat_possible};

/// So short that a test need not wait for a minute.
const SHORT_RIDE: [&str; 2] = ["--set", "shop.ride_through=1 s"];

#[test]
fn cuts_first_and_heats_only_when_told() {
    let mut floor = Floor::open_with("", &SHORT_RIDE);
    floor.bring_to_heat("knives-of-patience");
    floor.until_hot(true);
    let before = floor.client.all_events();

    floor.kill();
    // The ride-through is over when it comes back. No heartbeat is wired here, so the furnace goes on heating meanwhile: what
    // `check` says of it.
    std::thread::sleep(Duration::from_secs(3));
    assert!(heat_possible(&floor.equipment.look(), "north"), "the equipment should still be heating, or the test shows nothing");
    floor.equipment.command(&json!({"do": "mark", "text": "started again"}));
    floor.start_again(&SHORT_RIDE);
    floor.until_hot(false);

    let log = floor.equipment.log();
    let again = log.iter().position(|line| line.kind() == "mark").expect("the mark is in the log");
    let mut told = Told::default();
    log[..again].iter().for_each(|line| told.take(line));
    assert!(told.heats(), "{told:?}");
    let first = log[again..].iter().find(|line| line.kind() == "write").expect("something was written");
    told.take(first);
    assert!(!told.heats(), "the first thing written was not the cut: {}", first.0);

    assert_stays_cold(&mut floor, Duration::from_secs(3));
    assert_record(&mut floor, &before);
    until_purging(&floor);

    // Only now does a person say to go on.
    let shop = floor.client.shop();
    let questions = shop["questions"].as_array().cloned().unwrap_or_default();
    let question = questions
        .iter()
        .find(|question| question["ask"].get("go_on").is_some())
        .unwrap_or_else(|| panic!("nobody was asked whether to go on: {shop}"));
    person::choose(&mut floor.client, question, "CHOICE_GO_ON");
    floor.until_hot(true);
    assert_purged_first(&floor.equipment.log()[again..]);
    floor.kill();
    assert_replays(&floor);
}

/// What was decided before the kill, and after it up to the next one, comes out again from what is on disk, to its end.
fn assert_replays(floor: &Floor) {
    let mut replay = command();
    replay.args(["replay", "--json", "--journal"]).arg(floor.folder.path().join("journal.sqlite"));
    let output = run_within(&mut replay, Duration::from_secs(60));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}\n{}", String::from_utf8_lossy(&output.stderr));
    let last: Value = serde_json::from_str(said.lines().last().expect("it said something")).expect("JSON");
    assert!(last["replayed"]["ticks"].as_u64() > Some(20), "{last}");
    assert_eq!(last["replayed"]["gaps"], 0, "{last}");
}

/// Goal: a command that was accepted is not carried out twice, whatever dies in between. Method: the same request_id before and
/// after a SIGKILL.
#[test]
fn a_repeated_command_gets_the_first_answer() {
    let mut floor = Floor::open_with("", &SHORT_RIDE);
    let request = json!({"request_id": "one-and-only", "person": "Ansa", "furnace": "north", "load": "knives-once", "recipe": "knives", "parts": 1});
    let first = floor.client.call("CycleService", "StartCycle", &request);
    let repeat = floor.client.call("CycleService", "StartCycle", &request);
    assert_eq!(first, repeat);
    floor.kill();
    floor.start_again(&SHORT_RIDE);
    let after = floor.client.call("CycleService", "StartCycle", &request);
    assert_eq!(first, after);
    let events = floor.client.all_events();
    let began: Vec<&Value> = events.iter().filter(|event| event["kind"] == "cycle_began").collect();
    assert_eq!(began.len(), 1, "{began:?}");
}

fn assert_stays_cold(floor: &mut Floor, span: Duration) {
    let until = std::time::Instant::now() + span;
    while std::time::Instant::now() < until {
        let seen = floor.equipment.look();
        assert!(!heat_possible(&seen, "north"), "it heats though nobody said so: {seen}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Patience for what may not wait for the minute after which everything is told to equipment again.
const SOON: Duration = Duration::from_secs(30);

/// The write of the high flow, in hundredths of a litre a minute.
fn sweeps(line: &Logged) -> bool {
    line.written(unit::GAS, "holding", 0) == Some(2000)
}

/// Waits until the meter is told the high flow by the second start: hot steel was alone with what little gas flowed.
fn until_purging(floor: &Floor) {
    let until = std::time::Instant::now() + SOON;
    let again = |log: &[Logged]| log.iter().position(|line| line.kind() == "mark").expect("the mark is in the log");
    loop {
        let log = floor.equipment.log();
        if log[again(&log)..].iter().any(sweeps) {
            return;
        }
        assert!(std::time::Instant::now() < until, "the recovery purge was not ordered from the meter");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// By the equipment's own account, no heat above the ceiling before a whole purge had gone in since the second start.
fn assert_purged_first(log: &[Logged]) {
    let purged_l = |line: &Logged| line.0["purged_l"].as_f64().expect("the log says it");
    let at_start_l = log.iter().find(|line| line.kind() == "write").map(purged_l).expect("something was written");
    let mut told = Told::default();
    let heat = log.iter().find(|line| {
        told.take(line);
        told.heats_above(shop::UNPURGED_CEILING_C)
    });
    let gone_in_l = heat.map_or(f64::INFINITY, purged_l) - at_start_l;
    assert!(gone_in_l >= shop::PURGE_L * 0.98, "heat above the ceiling after {gone_in_l} L: {heat:?}");
}

fn assert_record(floor: &mut Floor, before: &[Value]) {
    let after = floor.client.all_events();
    assert_without_gaps(&numbers(&after), 1);
    assert_eq!(&after[..before.len()], before, "what was published before the kill is not on record as it was");
    let began = after[before.len()..].iter().find(|event| event["kind"] == "began").expect("the second start is on record");
    assert_ne!(began["began"]["clean"], true, "{began}");
    assert!(began["boot"].as_u64() > before[0]["boot"].as_u64(), "{began}");
}
