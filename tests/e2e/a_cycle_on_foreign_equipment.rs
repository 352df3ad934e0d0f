//! Goal: a load goes from purge to temper on equipment that we did not write, watched and answered by a client that we did not
//! write. Method: the equipment's own log says what it was told and when; the client says what it was shown, over a stream that
//! is cut in the middle and resumed from a number.

use hearthward_tests::client::{Client, assert_without_gaps, numbers};
use hearthward_tests::equipment::{Logged, unit};
use hearthward_tests::{person, shop};
use serde_json::{Value, json};

use crate::floor::{Floor, STEP, Told};

const PARTS: u32 = 2;

#[test]
fn a_load_goes_from_purge_to_temper() {
    let mut floor = Floor::open();
    let at = floor.daemon.as_ref().expect("it runs").at.clone();
    let watcher = std::thread::spawn(move || cut_and_resume(&at));

    let from = floor.client.so_far();
    person::start(&mut floor.client, "carving-knives-1", "knives", PARTS);
    let asked = person::attend(&mut floor.client, &mut floor.equipment, from, STEP * 2, ended);
    assert!(asked.len() <= 6, "a whole load needs about six touches, and this one asked {}: {asked:?}", asked.len());

    let events = floor.client.events(from);
    let end = events.iter().find(|event| ended(event)).expect("it ended");
    assert_eq!(end["cycle_ended"]["outcome"], "complete", "{end}");
    assert_steps(&events);
    assert_parts(&events);

    let log = floor.equipment.log();
    assert_no_heat_before_purge(&log);
    assert_tempered(&log);
    assert_cold_at_last(&log);

    // Complete, in order, and the same over a stream that was cut, a stream that was not, and the pages of the record.
    let (seen, problems) = watcher.join().expect("the watcher does not panic");
    assert!(problems.is_empty(), "{problems:?}");
    assert_without_gaps(&seen, 1);
    let record = floor.client.all_events();
    let on_record = numbers(&record);
    assert_without_gaps(&on_record, 1);
    assert!(on_record.starts_with(&seen), "the stream brought {seen:?}, the record holds {on_record:?}");
    for event in &events {
        assert!(record.contains(event), "{event} was streamed but is not on record like that");
    }
}

fn ended(event: &Value) -> bool {
    event["kind"] == "cycle_ended"
}

/// Follows the events, loses the connection twice, and resumes each time after the last number seen.
fn cut_and_resume(at: &str) -> (Vec<u64>, Vec<Value>) {
    let mut client = Client::start(at);
    client.tell(&json!({"do": "events", "name": "cut", "after_seq": 0}));
    let mut place = 0;
    for kind in ["purge_proved", "part_under"] {
        place = client.wait_event(place, STEP, kind, |event| event["kind"] == kind).1;
        client.tell(&json!({"do": "cut", "name": "cut"}));
        // Something happens meanwhile: the next step begins a moment later.
        std::thread::sleep(std::time::Duration::from_secs(1));
        client.tell(&json!({"do": "resume", "name": "cut"}));
    }
    client.wait_event(place, STEP, "the end of the cycle", ended);
    client.tell(&json!({"do": "seen", "name": "cut"}));
    let (seen, _) = client.wait(place, "what it saw", |said| said["seen"] == "cut");
    let numbers = seen["numbers"].as_array().expect("a list").iter().filter_map(Value::as_u64).collect();
    (numbers, seen["problems"].as_array().cloned().expect("a list"))
}

fn assert_steps(events: &[Value]) {
    let began: Vec<&str> = events.iter().filter_map(|event| event["step_began"]["step"].as_str()).collect();
    let wanted = ["PURGE", "RAMP", "SOAK", "PULL", "QUENCH", "TEMPER"].map(|step| format!("STEP_KIND_{step}"));
    assert_eq!(began, wanted, "the steps as they began");
    let incomplete: Vec<&Value> =
        events.iter().filter(|event| event["kind"] == "step_ended" && event["step_ended"]["complete"] != true).collect();
    assert!(incomplete.is_empty(), "steps that did not complete: {incomplete:?}");
}

fn assert_parts(events: &[Value]) {
    let parts: Vec<&Value> =
        events.iter().filter(|event| event["kind"] == "part_under").map(|event| &event["part_under"]).collect();
    assert_eq!(parts.len(), PARTS as usize, "{parts:?}");
    for (part, number) in parts.iter().zip(1_u64..) {
        assert_eq!(part["part"], number);
        assert_eq!(part["in_time"], true, "{part}");
    }
}

/// The heart of it: by the equipment's own account, no set point above the ceiling, let alone heat, before enough gas had gone
/// through the shut chamber.
fn assert_no_heat_before_purge(log: &[Logged]) {
    let mut told = Told::default();
    let mut proved = false;
    let mut heated = false;
    for line in log {
        told.take(line);
        let purged_l = line.0["purged_l"].as_f64().unwrap_or_default();
        // The gas that the equipment itself counted, less the little that its meter's rounding is worth.
        proved |= purged_l >= shop::PURGE_L * 0.98;
        let above = line.set_point_c(unit::NORTH).is_some_and(|set_point_c| set_point_c > shop::UNPURGED_CEILING_C);
        assert!(proved || !above, "a set point above the ceiling before the purge was proved: {}", line.0);
        assert!(proved || !told.heats_above(shop::UNPURGED_CEILING_C), "heat before the purge was proved: {}", line.0);
        heated |= told.heats_above(shop::SOAK_C - 1.0);
    }
    assert!(heated, "the furnace was never told to heat to its soak, so nothing was shown");
}

/// The temper happened in the other furnace, at its temperature.
fn assert_tempered(log: &[Logged]) {
    let highest_c = log.iter().filter_map(|line| line.set_point_c(unit::SOUTH)).fold(0.0, f64::max);
    assert!((190.0..=210.0).contains(&highest_c), "south was told {highest_c} °C at most, but tempers at 200");
}

/// When all is over nothing is told to heat.
fn assert_cold_at_last(log: &[Logged]) {
    let mut told = Told::default();
    log.iter().for_each(|line| told.take(line));
    assert!(!told.heats(), "north is still told to heat: {told:?}");
    let south = log.iter().rev().find_map(|line| line.run(unit::SOUTH));
    assert_eq!(south, Some(false), "south is still told to run");
}
