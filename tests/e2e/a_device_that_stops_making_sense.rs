//! Goal: a device that answers not at all, too late, rubbish or as another unit costs nobody anything but its own furnace's heat,
//! and is back by itself when it makes sense again. Method: the equipment is told to behave so, one way after the other, with a
//! hot load; its neighbour on the same line must stay good throughout.

use std::time::Duration;

use hearthward_tests::equipment::unit;
use hearthward_tests::person;
use serde_json::json;

use crate::floor::{Floor, furnace, heat_possible, interlock, reading};

const NORTH: &str = "controllers/north.temperature";
const SOUTH: &str = "controllers/south.temperature";
const DRIVER_LOST: &str = "INTERLOCK_KIND_DRIVER_LOST";
const SENSOR_FAULT: &str = "INTERLOCK_KIND_SENSOR_FAULT";

#[test]
fn silent() {
    loses_and_finds("silent");
}

#[test]
fn late() {
    loses_and_finds("late");
}

#[test]
fn rubbish() {
    loses_and_finds("garbage");
}

#[test]
fn another_units_frame() {
    loses_and_finds("other-unit");
}

fn loses_and_finds(how: &str) {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-of-sense");
    floor.until_hot(true);
    let from = floor.client.so_far();

    floor.equipment.answers(unit::NORTH, how);
    floor.until_quality(NORTH, "QUALITY_BAD");
    let shop = floor.client.shop();
    assert_ne!(interlock(furnace(&shop, "north"), DRIVER_LOST), "INTERLOCK_STATE_CLEAR", "{shop}");
    // The controller may not even hear a cut, so its contactor on the other line must fall.
    floor.until_hot(false);
    floor.client.wait_event(from, crate::floor::STEP, "that the unit is silent", |event| {
        event["kind"] == "unit" && event["unit"]["unit"] == "controllers/north" && event["unit"]["state"] == "silent"
    });
    for _ in 0..20 {
        let shop = floor.client.shop();
        assert_eq!(reading(&shop, SOUTH)["quality"], "QUALITY_GOOD", "the neighbour on the line went too: {shop}");
        std::thread::sleep(Duration::from_millis(100));
    }
    assert!(floor.equipment.log().iter().any(|line| line.contactor(0) == Some(false)), "the contactor was never dropped");

    floor.equipment.answers(unit::NORTH, "well");
    floor.until_quality(NORTH, "QUALITY_GOOD");
    floor.until_interlock(DRIVER_LOST, "INTERLOCK_STATE_CLEAR");
    floor.client.wait_event(from, crate::floor::STEP, "that the unit answers again", |event| {
        event["kind"] == "unit" && event["unit"]["unit"] == "controllers/north" && event["unit"]["state"] == "answering"
    });
    // Within the ride-through nobody needs to do anything.
    floor.until_hot(true);
}

/// Goal: a cable that is pulled and put back is found again. Method: the equipment hangs up on every connection.
#[test]
fn a_connection_that_is_lost() {
    let mut floor = Floor::open();
    floor.until_quality(NORTH, "QUALITY_GOOD");
    for _ in 0..5 {
        floor.equipment.command(&json!({"do": "hang-up"}));
        std::thread::sleep(Duration::from_millis(300));
    }
    let before = floor.client.shop()["tick"].as_u64().expect("a tick");
    floor.client.shop_until("fresh readings after the loss", |shop| {
        let fresh = |point| {
            reading(shop, point)["quality"] == "QUALITY_GOOD"
                && reading(shop, point)["age_ms"].as_u64().is_some_and(|age| age < 1000)
        };
        shop["tick"].as_u64().is_some_and(|tick| tick > before + 10)
            && fresh(NORTH)
            && fresh(SOUTH)
            && fresh("gas/north-meter.flow")
    });
}

/// Goal: a broken thermocouple cuts, and is a latch: no heat comes back without a person.
#[test]
fn a_broken_thermocouple() {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-of-doubt");
    floor.until_hot(true);
    floor.equipment.command(&json!({"do": "thermocouple", "furnace": "north", "broken": true}));
    floor.until_hot(false);
    floor.until_interlock(SENSOR_FAULT, "INTERLOCK_STATE_TRIPPED");
    floor.equipment.command(&json!({"do": "thermocouple", "furnace": "north", "broken": false}));
    floor.until_interlock(SENSOR_FAULT, "INTERLOCK_STATE_LATCHED");
    for _ in 0..10 {
        let seen = floor.equipment.look();
        assert!(!heat_possible(&seen, "north"), "heat came back without a reset: {seen}");
        std::thread::sleep(Duration::from_millis(100));
    }
    let answer = person::reset(&mut floor.client, "north");
    assert!(answer.get("answer").is_some(), "{answer}");
    floor.until_interlock(SENSOR_FAULT, "INTERLOCK_STATE_CLEAR");
}
