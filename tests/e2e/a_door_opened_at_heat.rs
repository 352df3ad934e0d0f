//! Goal: heat is off while the door is open, whoever opened it. Method: the door's coil is set on the equipment; its own log says
//! after how many frames it was told to stop heating.

use std::time::Duration;

use hearthward_tests::person;

use crate::floor::{Floor, STEP, frames_to_each_cut, heat_possible};

/// Frames that the equipment may serve between the opening and the cut. It is polled with about 16 frames a scan, both lines
/// together; a cut is due in the scan that saw the door, and a second one is left for a computer that is busy elsewhere.
const FRAMES_MOST: u64 = 64;

#[test]
fn a_short_opening_cuts_and_heat_comes_back() {
    let mut floor = Floor::open();
    floor.bring_to_heat("door-1");
    floor.until_hot(true);
    let from = floor.client.so_far();

    floor.equipment.door("north", true);
    floor.until_hot(false);
    let (cut, _) = floor.event(from, "cut");
    let because = cut["cut"]["because"].to_string();
    assert!(because.contains("OPENING_AT_HEAT") || because.contains("DOOR_OPEN"), "{cut}");
    floor.event(from, "cut_confirmed");

    floor.equipment.door("north", false);
    floor.until_hot(true);
    let frames = frames_to_each_cut(&floor.equipment.log());
    println!("frames from each opening to the cut: {frames:?}");
    assert!(!frames.is_empty(), "the door was never opened at heat");
    assert!(frames.iter().all(|frames| *frames <= FRAMES_MOST), "{frames:?}");
}

#[test]
fn a_long_opening_latches_until_a_person_resets() {
    let mut floor = Floor::open();
    floor.bring_to_heat("door-2");
    floor.until_hot(true);

    floor.equipment.door("north", true);
    floor.until_hot(false);
    // The configuration lets openings of up to five seconds clear by themselves.
    std::thread::sleep(Duration::from_secs(7));
    let refused = person::reset(&mut floor.client, "north");
    assert_eq!(refused["error"]["code"], "FAILED_PRECONDITION", "a reset while the door is open: {refused}");
    floor.equipment.door("north", false);
    floor.until_interlock("INTERLOCK_KIND_DOOR_OPEN", "INTERLOCK_STATE_LATCHED");
    for _ in 0..20 {
        let seen = floor.equipment.look();
        assert!(!heat_possible(&seen, "north"), "heat came back without a reset: {seen}");
        std::thread::sleep(Duration::from_millis(100));
    }
    let from = floor.client.so_far();
    let answer = person::reset(&mut floor.client, "north");
    assert!(answer.get("answer").is_some(), "{answer}");
    floor.client.wait_event(from, STEP, "the reset", |event| event["kind"] == "reset");
    assert_eq!(floor.interlock("INTERLOCK_KIND_DOOR_OPEN"), "INTERLOCK_STATE_CLEAR");
    let seen = floor.equipment.look();
    assert!(!heat_possible(&seen, "north"), "a reset started heat: {seen}");
    let shop = floor.client.shop_until("somebody is asked whether the load goes on", |shop| going_on(shop).is_some());
    person::choose(&mut floor.client, &going_on(&shop).expect("it is asked"), "CHOICE_GO_ON");
    floor.until_hot(true);
}

/// The question whether a load goes on, where it is asked.
fn going_on(shop: &serde_json::Value) -> Option<serde_json::Value> {
    shop["questions"].as_array()?.iter().find(|question| question["ask"].get("go_on").is_some()).cloned()
}
