//! Goal: stop cuts everything and latches; an orderly end with a hot load cuts heat, closes streams with a reason and says so.

use hearthward_tests::client::{assert_without_gaps, numbers};
use hearthward_tests::person;
use serde_json::json;

use crate::floor::{Floor, STEP, heat_possible};

#[test]
fn a_stop_latches() {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-stopped");
    floor.until_hot(true);
    floor.client.call("InterlockService", "Stop", &json!({}));
    floor.until_hot(false);
    assert_ne!(floor.interlock("INTERLOCK_KIND_STOP"), "INTERLOCK_STATE_CLEAR");
    let answer = person::reset(&mut floor.client, "north");
    assert!(answer.get("answer").is_some(), "{answer}");
    floor.until_interlock("INTERLOCK_KIND_STOP", "INTERLOCK_STATE_CLEAR");
}

#[test]
fn an_orderly_end_cuts_heat_and_says_so() {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-left");
    floor.until_hot(true);
    floor.client.tell(&json!({"do": "health"}));
    floor.client.wait(0, "that the service is well", |said| said["health"]["serving"] == true);
    let from = floor.client.so_far();
    let status = floor.daemon.take().expect("it runs").end();
    assert!(status.success(), "it ended with {status}");
    let seen = floor.equipment.look();
    assert!(!heat_possible(&seen, "north"), "it ended and left heat on: {seen}");
    let (closed, closed_at) = floor.client.wait(from, "that the stream was closed", |said| said["stream_ended"] == "all");
    assert_eq!(closed["error"]["code"], "UNAVAILABLE", "{closed}");
    // Whoever watched saw how it ended, to the last event of it, before the stream was closed.
    let watched = floor.client.events(from);
    for kind in ["ending", "cut", "cut_confirmed"] {
        let (_, at) = floor.client.wait_event(from, STEP, kind, |event| event["kind"] == kind);
        assert!(at <= closed_at, "{kind} came after the stream was closed");
    }

    floor.start_again(&[]);
    let events = floor.client.all_events();
    let last = events.iter().rposition(|event| event["kind"] == "began").expect("the second start is on record") - 1;
    assert!(watched.iter().any(|event| event["seq"] == events[last]["seq"]), "nobody saw {}", events[last]);
    assert_without_gaps(&numbers(&events), 1);
    assert!(events.iter().any(|event| event["kind"] == "ending"), "the end is not on record");
    let cut = events.iter().any(|event| event["cut"]["because"].to_string().contains("INTERLOCK_KIND_ENDING"));
    assert!(cut, "no cut on record says that the service was ending");
    let began = events.iter().rfind(|event| event["kind"] == "began").expect("the second start is on record");
    assert_eq!(began["began"]["clean"], true, "{began}");
}
